import { HelpButton } from '../help/help-button.tsx';
import { helpTexts } from '../help/help-texts.ts';
import { measureFormats } from '../measures.ts';
import { AppNote } from '../parts/app-note.tsx';
import { hrefOf } from '../route.ts';
import { Choice } from '../settings/choice.tsx';
import { changeSettings, currentSettings } from '../settings/current-settings.ts';
import { soundKinds, themes } from '../settings/page-settings.ts';
import { UnitChoices } from '../settings/unit-choices.tsx';
import { firstSteps } from '../start/first-steps.ts';
import { measureLabels, texts } from '../texts.ts';

export function SettingsScreen() {
  const settings = currentSettings.value;
  const { figures } = settings;
  const toggle = (name: (typeof figures)[number]): void => {
    const next = figures.includes(name) ? figures.filter((one) => one !== name) : [...figures, name];
    if (next.length >= 2 && next.length <= 3) changeSettings({ figures: next });
  };
  return (
    <section class="settings form" aria-labelledby="settings-title">
      <h2 id="settings-title">{texts.settings.title}</h2>
      <fieldset>
        <legend>{texts.settings.figures}</legend>
        <div class="choice-grid">
          {measureFormats.map(({ name }) => {
            const chosen = figures.includes(name);
            const fixed = chosen ? figures.length <= 2 : figures.length >= 3;
            return (
              <div key={name} class="choice">
                <label class="choice">
                  <input type="checkbox" checked={chosen} disabled={fixed} onChange={() => toggle(name)} />
                  {measureLabels[name]}
                </label>
                <HelpButton name={name} />
              </div>
            );
          })}
        </div>
      </fieldset>
      <Choice
        legend={texts.settings.theme}
        name="theme"
        words={themes}
        labels={texts.settings.themes}
        value={settings.theme}
        onChange={(theme) => changeSettings({ theme })}
      />
      <UnitChoices />
      <Choice
        legend={texts.settings.sound}
        name="sound"
        words={soundKinds}
        labels={texts.settings.sounds}
        value={settings.sound}
        onChange={(sound) => changeSettings({ sound })}
      />
      <label>
        {texts.settings.volume}
        <input
          type="range"
          min="0"
          max="1"
          step="0.05"
          value={settings.volume}
          onInput={(event) => changeSettings({ volume: Number(event.currentTarget.value) })}
        />
      </label>
      <label class="choice">
        <input
          type="checkbox"
          checked={settings.vibrate}
          onChange={(event) => changeSettings({ vibrate: event.currentTarget.checked })}
        />
        {texts.settings.vibrate}
      </label>
      <label class="choice">
        <input
          type="checkbox"
          checked={settings.mediaKeys}
          onChange={(event) => changeSettings({ mediaKeys: event.currentTarget.checked })}
        />
        {texts.settings.mediaKeys}
      </label>
      <h3>{texts.settings.more}</h3>
      <ul class="links">
        <li>
          <a href={hrefOf('start')}>{firstSteps.title}</a>
        </li>
        <li>
          <a href={hrefOf('help')}>{helpTexts.title}</a>
        </li>
        <li>
          <a href={hrefOf('cautions')}>{texts.cautionsTitle}</a>
        </li>
      </ul>
      <AppNote />
    </section>
  );
}

import { measureFormats } from '../measures.ts';
import { changeSettings, currentSettings } from '../settings/current-settings.ts';
import { soundKinds, spinUnits, themes, unitSystems } from '../settings/page-settings.ts';
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
              <label key={name} class="choice">
                <input type="checkbox" checked={chosen} disabled={fixed} onChange={() => toggle(name)} />
                {measureLabels[name]}
              </label>
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
      <Choice
        legend={texts.settings.units}
        name="units"
        words={unitSystems}
        labels={texts.settings.unitSystems}
        value={settings.units}
        onChange={(units) => changeSettings({ units })}
      />
      <Choice
        legend={texts.settings.spin}
        name="spin"
        words={spinUnits}
        labels={{ 'rev/s': 'rev/s', rpm: 'rpm' }}
        value={settings.spin}
        onChange={(spin) => changeSettings({ spin })}
      />
      <Choice
        legend={texts.settings.hand}
        name="hand"
        words={['right', 'left'] as const}
        labels={texts.settings.hands}
        value={settings.hand}
        onChange={(hand) => changeSettings({ hand })}
      />
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
    </section>
  );
}

interface ChoiceProps<Word extends string> {
  readonly legend: string;
  readonly name: string;
  readonly words: readonly Word[];
  readonly labels: Readonly<Record<Word, string>>;
  readonly value: Word;
  readonly onChange: (word: Word) => void;
}

function Choice<Word extends string>({ legend, name, words, labels, value, onChange }: ChoiceProps<Word>) {
  return (
    <fieldset>
      <legend>{legend}</legend>
      {words.map((word) => (
        <label key={word} class="choice">
          <input type="radio" name={name} checked={word === value} onChange={() => onChange(word)} />
          {labels[word]}
        </label>
      ))}
    </fieldset>
  );
}

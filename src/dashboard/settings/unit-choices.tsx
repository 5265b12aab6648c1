import { texts } from '../texts.ts';
import { Choice } from './choice.tsx';
import { changeSettings, currentSettings } from './current-settings.ts';
import { spinUnits, unitSystems } from './page-settings.ts';

/** In which units and from whose side numbers are told. */
export function UnitChoices() {
  const settings = currentSettings.value;
  return (
    <>
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
        labels={texts.settings.spinUnits}
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
    </>
  );
}

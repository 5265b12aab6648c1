import type { SignalGroup } from '../../server/wire/signal-document.ts';
import { researchTexts } from './texts.ts';

const words = researchTexts.signals;
const everyGroup = ['accel', 'gyro'] as const;

interface LineChoicesProps {
  /** What is shown, at least one. */
  readonly groups: readonly SignalGroup[];
  readonly onGroups: (groups: readonly SignalGroup[]) => void;
  /** Whether each axis and the magnitude are shown. */
  readonly lines: readonly boolean[];
  readonly onLines: (lines: readonly boolean[]) => void;
}

/** Which signals are drawn, and which of their lines: the same for recorded signals and for those that come now. */
export function LineChoices({ groups, onGroups, lines, onLines }: LineChoicesProps) {
  const toggle = (group: SignalGroup): void => {
    const next = everyGroup.filter((each) => groups.includes(each) !== (each === group));
    if (next.length > 0) onGroups(next);
  };
  return (
    <>
      <fieldset>
        <legend>{words.groupsLabel}</legend>
        {everyGroup.map((group) => (
          <label key={group} class="choice">
            <input type="checkbox" checked={groups.includes(group)} onChange={() => toggle(group)} />
            {words.groups[group]}, {words.units[group]}
          </label>
        ))}
      </fieldset>
      <fieldset>
        <legend>{words.channelsLabel}</legend>
        {words.channels.map((channel, index) => (
          <label key={channel} class={`choice channel-${index}`}>
            <input
              type="checkbox"
              checked={lines[index] ?? false}
              onChange={() => onLines(lines.map((each, at) => (at === index ? !each : each)))}
            />
            <span class="swatch" aria-hidden="true" />
            {channel}
          </label>
        ))}
      </fieldset>
    </>
  );
}

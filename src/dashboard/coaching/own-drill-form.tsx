import { useState } from 'preact/hooks';
import type { WireDrill, WireDrills } from '../../server/wire/coaching-document.ts';
import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { measureFormats } from '../measures.ts';
import { userFormat } from '../settings/current-settings.ts';
import { measureLabels, texts } from '../texts.ts';

/** What a coach says of a drill of their own, as the service takes it. */
export type DrillWords = Omit<WireDrill, 'name' | 'own' | 'source' | 'picture'>;

interface OwnDrillFormProps {
  /** The drill that is changed; null for a new one. */
  readonly drill: WireDrill | null;
  readonly faults: WireDrills['faults'];
  readonly isChanging: boolean;
  readonly onKeep: (words: DrillWords) => Promise<boolean>;
}

const doses = [
  ['sets', 20, 3],
  ['shots', 100, 10],
  ['daysAWeek', 7, 3],
] as const;

/** A form for a drill of the coach's own: what it is for, how it goes, how much of it, and what should move by it. */
export function OwnDrillForm({ drill, faults, isChanging, onKeep }: OwnDrillFormProps) {
  const words = texts.coaching.ownDrills;
  const [trouble, setTrouble] = useState<string | null>(null);
  const [measure, setMeasure] = useState((drill?.moves.measure ?? 'pickupToReleaseS') as ShotMeasureName);
  const format = userFormat(measure);
  const keep = async (event: SubmitEvent): Promise<void> => {
    event.preventDefault();
    const form = event.currentTarget as HTMLFormElement;
    const said = saidIn(form, measure, format.scale);
    const odd =
      said.forFaults.length === 0
        ? words.faultsOdd
        : said.steps.length === 0
          ? words.stepsOdd
          : said.moves.by > 0
            ? null
            : words.byOdd;
    setTrouble(odd);
    if (odd === null && (await onKeep(said)) && drill === null) form.reset();
  };
  const dose = { sets: drill?.dose.sets, shots: drill?.dose.shotsASet, daysAWeek: drill?.dose.daysAWeek };
  const lines = (name: 'steps' | 'progressions' | 'cautions', usual = '') => (
    <label class="whole-row">
      {words[name]}
      <textarea name={name} rows={3} maxLength={4000} defaultValue={drill?.[name].join('\n') ?? usual} />
    </label>
  );
  return (
    <form class="grid-form" onSubmit={keep}>
      <label class="whole-row">
        {words.name}
        <input name="title" type="text" required maxLength={80} defaultValue={drill?.title} />
      </label>
      <fieldset class="whole-row tap-list">
        <legend>{words.forFaults}</legend>
        {faults.map(({ name, title }) => (
          <label key={name} class="choice">
            <input
              type="checkbox"
              name="fault"
              value={name}
              defaultChecked={drill?.forFaults.includes(name) ?? false}
            />
            <span>{title}</span>
          </label>
        ))}
      </fieldset>
      <label class="whole-row">
        {words.purpose}
        <input name="purpose" type="text" required maxLength={600} defaultValue={drill?.purpose} />
      </label>
      <label class="whole-row">
        {words.setUp}
        <input name="set-up" type="text" maxLength={600} defaultValue={drill?.setUp} />
      </label>
      {lines('steps')}
      {doses.map(([name, most, usual]) => (
        <label key={name}>
          {words[name]}
          <input name={name} type="number" min="1" max={most} required defaultValue={dose[name] ?? usual} />
        </label>
      ))}
      {lines('progressions')}
      <label>
        {words.measure}
        <select
          name="measure"
          value={measure}
          onChange={(event) => setMeasure(event.currentTarget.value as ShotMeasureName)}
        >
          {measureFormats.map(({ name }) => (
            <option key={name} value={name}>
              {measureLabels[name]}
            </option>
          ))}
        </select>
      </label>
      <label>
        {words.side}
        <select name="side">
          {(['less', 'more'] as const).map((side) => (
            <option key={side} value={side} selected={drill?.moves.side === side}>
              {texts.coaching.sides[side]}
            </option>
          ))}
        </select>
      </label>
      <label>
        {texts.labelWithUnit(words.by, format.unit)}
        <input
          name="by"
          type="number"
          min="0"
          step="any"
          required
          defaultValue={
            drill?.moves.measure === measure ? Number((drill.moves.by * format.scale).toPrecision(6)) : undefined
          }
        />
      </label>
      <label>
        {words.fromAge}
        <input name="age" type="number" min="0" max="120" required defaultValue={drill?.fromAge ?? 10} />
      </label>
      {lines('cautions', words.usualCaution)}
      <p class="note whole-row">{words.note}</p>
      <p role="alert" class="stale whole-row">
        {trouble ?? ''}
      </p>
      <button type="submit" disabled={isChanging}>
        {words.keep}
      </button>
    </form>
  );
}

function saidIn(form: HTMLFormElement, measure: ShotMeasureName, scale: number): DrillWords {
  const data = new FormData(form);
  const word = (name: string): string => String(data.get(name) ?? '').trim();
  const lines = (name: string): string[] =>
    word(name)
      .split('\n')
      .map((line) => line.trim())
      .filter((line) => line !== '');
  return {
    title: word('title'),
    forFaults: data.getAll('fault').map(String),
    purpose: word('purpose'),
    setUp: word('set-up'),
    steps: lines('steps'),
    dose: { sets: Number(word('sets')), shotsASet: Number(word('shots')), daysAWeek: Number(word('daysAWeek')) },
    progressions: lines('progressions'),
    fromAge: Number(word('age')),
    cautions: lines('cautions'),
    moves: { measure, side: word('side') === 'more' ? 'more' : 'less', by: Number(word('by')) / scale },
  };
}

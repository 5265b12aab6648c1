import type { WireStoredShot } from '../../server/wire/practice-document.ts';
import type { WireCorrection } from '../../server/wire/research-document.ts';
import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { shownTime } from '../clock-time.ts';
import { MeasureText } from '../parts/measure-text.tsx';
import { WideTable } from '../parts/wide-table.tsx';
import { userFormat } from '../settings/current-settings.ts';
import { measureLabels, reasonText, startTexts, texts } from '../texts.ts';
import { agreedToRecord, emptyPractice, type Practice, type PracticeDesk, rangeOf } from './practice-desk.ts';

const columns: readonly ShotMeasureName[] = ['pickupToReleaseS', 'backspinRps', 'axisTiltDeg', 'launchAngleDeg'];

interface StoredShotsProps {
  readonly practice: Practice;
  readonly desk: PracticeDesk;
  /** Ids of the chosen shots, the one chosen last at the end. */
  readonly chosen: readonly string[];
  readonly onChoose: (shotIds: readonly string[]) => void;
}

/** The shots of the practice, newest first: to choose, give to a player and say what became of them. */
export function StoredShots({ practice, desk, chosen, onChoose }: StoredShotsProps) {
  const { shots, earlierCount } = practice;
  const last = chosen.at(-1);
  const isByHand = shots.some(({ corrections }) => corrections.length > 0);
  const upTo = (id: string): void => {
    if (last === undefined) onChoose([id]);
    else onChoose([...rangeOf(shots, last, id).map((shot) => shot.id)]);
  };
  const toggle = (id: string, withShift: boolean): void => {
    if (withShift && last !== undefined) upTo(id);
    else onChoose(chosen.includes(id) ? chosen.filter((one) => one !== id) : [...chosen, id]);
  };
  return (
    <section class="panel" aria-labelledby="stored-title">
      <h3 id="stored-title">{texts.bench.shots}</h3>
      {shots.length === 0 ? (
        <p class="note">
          {practice === emptyPractice ? '…' : practice.session === null ? texts.bench.noSession : texts.bench.noShots}
        </p>
      ) : (
        <>
          <ChosenShots practice={practice} desk={desk} chosen={chosen} onChoose={onChoose} />
          <WideTable label={texts.bench.shots}>
            <table class="stored stacks shots-table">
              <thead>
                <tr>
                  <th scope="col">{texts.bench.columns.number}</th>
                  <th scope="col">{texts.columns.time}</th>
                  <th scope="col">{texts.bench.columns.player}</th>
                  <th scope="col">{texts.bench.columns.outcome}</th>
                  {columns.map((name) => (
                    <th key={name} scope="col">
                      {texts.labelWithUnit(measureLabels[name], userFormat(name).unit)}
                    </th>
                  ))}
                  <th scope="col">{texts.columns.start}</th>
                  {isByHand && <th scope="col">{texts.bench.columns.byHand}</th>}
                </tr>
              </thead>
              <tbody>
                {shots
                  .map((shot, index) => (
                    <StoredRow
                      key={shot.id}
                      shot={shot}
                      number={earlierCount + index + 1}
                      practice={practice}
                      withByHand={isByHand}
                      isChosen={chosen.includes(shot.id)}
                      onToggle={(withShift) => toggle(shot.id, withShift)}
                      onUpTo={last !== undefined && !chosen.includes(shot.id) ? () => upTo(shot.id) : null}
                    />
                  ))
                  .toReversed()}
              </tbody>
            </table>
          </WideTable>
          {earlierCount > 0 && (
            <p>
              <button type="button" class="small" onClick={() => void desk.readEarlier()}>
                {texts.bench.earlierShots(earlierCount)}
              </button>
            </p>
          )}
        </>
      )}
    </section>
  );
}

function ChosenShots({ practice, desk, chosen, onChoose }: StoredShotsProps) {
  if (chosen.length === 0) return <p class="note">{texts.bench.chooseNote}</p>;
  const which = { shotIds: chosen };
  const give = (playerId: string): void => {
    if (playerId !== '?') void desk.assign(which, playerId === '' ? null : playerId);
  };
  return (
    <div class="inline-form chosen">
      <strong role="status">{texts.bench.chosen(chosen.length)}</strong>
      {(['make', 'miss', 'unknown'] as const).map((outcome) => (
        <button key={outcome} type="button" onClick={() => void desk.tag(which, outcome)}>
          {texts.bench.outcomes[outcome]}
        </button>
      ))}
      <label>
        {texts.bench.giveTo}
        <select value="?" onChange={(event) => give(event.currentTarget.value)}>
          <option value="?">…</option>
          {practice.players.filter(agreedToRecord).map(({ id, pseudonym }) => (
            <option key={id} value={id}>
              {pseudonym}
            </option>
          ))}
          <option value="">{texts.bench.nobody}</option>
        </select>
      </label>
      <button type="button" onClick={() => onChoose([])}>
        {texts.bench.none}
      </button>
    </div>
  );
}

interface StoredRowProps {
  readonly shot: WireStoredShot;
  readonly number: number;
  readonly practice: Practice;
  readonly isChosen: boolean;
  /** Whether some time of a shot of the list was set by hand. */
  readonly withByHand: boolean;
  readonly onToggle: (withShift: boolean) => void;
  readonly onUpTo: (() => void) | null;
}

function StoredRow({ shot, number, practice, isChosen, withByHand, onToggle, onUpTo }: StoredRowProps) {
  const { measures, startKind } = shot.shot;
  const player = practice.players.find(({ id }) => id === shot.playerId);
  return (
    <tr data-stored={shot.shotId} data-chosen={isChosen}>
      <th scope="row">
        <label class="choice">
          <input
            type="checkbox"
            checked={isChosen}
            aria-label={texts.bench.choose(number)}
            onClick={(event) => onToggle(event.shiftKey)}
          />
          {number}
        </label>
        {onUpTo !== null && (
          <button type="button" class="small" onClick={onUpTo}>
            {texts.bench.upToHere}
          </button>
        )}
      </th>
      <td class="beside">{shownTime(shot.atS)}</td>
      <td class="beside">{player?.pseudonym ?? texts.missingMark}</td>
      <td class="beside" data-outcome={shot.outcome}>
        {texts.bench.outcomes[shot.outcome]}
      </td>
      {columns.map((name) => {
        const measured = measures[name];
        return (
          <td key={name} data-label={texts.labelWithUnit(measureLabels[name], userFormat(name).unit)}>
            {measured?.value == null ? (
              <span class="missing" title={measured ? reasonText(measured.reason) : texts.missing}>
                <span aria-hidden="true">{texts.missingMark}</span>
                <span class="unseen">{measured ? reasonText(measured.reason) : texts.missing}</span>
              </span>
            ) : (
              <MeasureText measured={measured} format={userFormat(name)} bare />
            )}
          </td>
        );
      })}
      <td class="beside">{startTexts[startKind]}</td>
      {withByHand && (
        <td data-label={texts.bench.columns.byHand}>
          {shot.corrections.map((byHand) => texts.bench.byHand(byHand.phase, shiftOf(byHand, shot))).join(', ')}
        </td>
      )}
    </tr>
  );
}

/** @returns how far a time set by hand lies from the analysis' own, ms; null where that has none, or is of another sensor's clock. */
function shiftOf({ phase, timeS, sensorId, streamIndex }: WireCorrection, stored: WireStoredShot): string | null {
  const { shot } = stored;
  const clockOf = shot.timesOf === undefined ? stored.sensorId : (shot[shot.timesOf]?.sensorId ?? stored.sensorId);
  const automaticS = shot[`${phase}S`];
  if (automaticS === null || sensorId !== clockOf || streamIndex !== stored.streamIndex) return null;
  const ms = 1000 * (timeS - automaticS);
  return `${ms < 0 ? '−' : '+'}${Math.abs(ms).toFixed(0)}`;
}

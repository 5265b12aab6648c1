import { shownDate } from '../clock-time.ts';
import { TableHead } from '../parts/table-head.tsx';
import { WideTable } from '../parts/wide-table.tsx';
import { texts } from '../texts.ts';
import { type PhaseName, placeOf, type ShotPhase, toRecording, type ViewedShot } from './shot-phases.ts';
import { researchTexts } from './texts.ts';

const words = researchTexts.signals;

interface PhasePanelProps {
  readonly shot: ViewedShot;
  /** @returns session time in the middle of the view. */
  readonly middle: () => number;
  readonly canUndo: boolean;
  readonly onUndo: () => void;
  /** Recording time and spacing of the samples. */
  readonly onSet: (phase: PhaseName, timeS: number, resolutionS: number) => void;
  readonly onTakeBack: (phase: PhaseName) => void;
}

/** The times of the chosen shot: what the analysis says with its error, what a person set, and the means to set it. */
export function PhasePanel({ shot, middle, canUndo, onUndo, onSet, onTakeBack }: PhasePanelProps) {
  const sampleS = 1 / shot.stream.rateHz;
  const set = (phase: PhaseName, sessionS: number): void => onSet(phase, toRecording(shot.stream, sessionS), sampleS);
  return (
    <section class="panel" aria-labelledby="phases-title">
      <h3 id="phases-title">{words.phasesTitle}</h3>
      <WideTable label={words.phasesTitle}>
        <table class="stored stacks">
          <TableHead
            columns={(['phase', 'automatic', 'byHand', 'change'] as const).map((column) => words.phaseColumns[column])}
          />
          <tbody>
            {shot.phases.map((each) => (
              <PhaseRow
                key={each.phase}
                phase={each}
                onStep={(samples) => set(each.phase, (placeOf(each) ?? middle()) + samples * sampleS)}
                onSetHere={() => set(each.phase, middle())}
                onTakeBack={() => onTakeBack(each.phase)}
              />
            ))}
          </tbody>
        </table>
      </WideTable>
      <p class="note">{words.handNote}</p>
      <p>
        <button type="button" disabled={!canUndo} onClick={onUndo}>
          {words.undo}
        </button>
      </p>
    </section>
  );
}

interface PhaseRowProps {
  readonly phase: ShotPhase;
  readonly onStep: (samples: number) => void;
  readonly onSetHere: () => void;
  readonly onTakeBack: () => void;
}

function PhaseRow({
  phase: { phase, automaticS, errorS, reason, byHand },
  onStep,
  onSetHere,
  onTakeBack,
}: PhaseRowProps) {
  const name = words.phases[phase];
  return (
    <tr data-phase={phase}>
      <th scope="row">{name}</th>
      <td data-label={words.phaseColumns.automatic}>
        {automaticS === null ? (
          <span class="note">{reason === null ? words.phaseMissing : texts.reason(reason)}</span>
        ) : (
          words.timeWithError(automaticS.toFixed(4), shownMs(errorS))
        )}
      </td>
      <td {...(byHand !== null && { 'data-label': words.phaseColumns.byHand })}>
        {byHand !== null && (
          <>
            {byHand.timeS.toFixed(4)} s{automaticS !== null && ` (${shownShift(byHand.timeS - automaticS)})`}
            <br />
            <span class="note">{words.byWho(byHand.byName, shownDate(byHand.madeS))}</span>
          </>
        )}
      </td>
      <td class="phase-buttons">
        {automaticS === null && byHand === null ? (
          <button type="button" class="small" onClick={onSetHere}>
            {words.setHere}
          </button>
        ) : (
          <>
            <button type="button" class="small" aria-label={words.earlierSample(name)} onClick={() => onStep(-1)}>
              −1
            </button>
            <button type="button" class="small" aria-label={words.laterSample(name)} onClick={() => onStep(1)}>
              +1
            </button>
          </>
        )}
        {byHand !== null && (
          <button type="button" class="small" aria-label={words.takeBackOf(name)} onClick={onTakeBack}>
            {words.takeBack}
          </button>
        )}
      </td>
    </tr>
  );
}

function shownMs(errorS: number | null): string {
  if (errorS === null) return '–';
  const ms = 1000 * errorS;
  return ms.toFixed(ms < 10 ? 1 : 0);
}

/** @returns a difference in ms with its sign. */
export function shownShift(byS: number): string {
  const ms = (1000 * Math.abs(byS)).toFixed(1);
  if (Number(ms) === 0) return '0 ms';
  return `${byS < 0 ? '−' : '+'}${ms} ms`;
}

import type { WireStoredShot } from '../../server/wire/practice-document.ts';
import type { WireCorrection } from '../../server/wire/research-document.ts';
import type { WireSignalStream } from '../../server/wire/signal-document.ts';

export const phaseNames = ['pickup', 'lift', 'release', 'contact'] as const;
export type PhaseName = (typeof phaseNames)[number];

/** One time of a shot in session time, as the analysis has it and as a person set it. */
export interface ShotPhase {
  readonly phase: PhaseName;
  readonly automaticS: number | null;
  /** One standard error. */
  readonly errorS: number | null;
  /** Why the analysis has none. */
  readonly reason: string | null;
  readonly byHand: { readonly timeS: number; readonly byName: string; readonly madeS: number } | null;
}

/** A shot in the signal view. */
export interface ViewedShot {
  readonly id: string;
  /** From 1, in the order of time. */
  readonly number: number;
  readonly stream: WireSignalStream;
  readonly phases: readonly ShotPhase[];
  readonly fromS: number;
  readonly untilS: number;
}

/** @returns shots whose stream is in the recording, with their times on its clock. */
export function viewedShots(
  shots: readonly WireStoredShot[],
  streams: readonly WireSignalStream[],
): readonly ViewedShot[] {
  return shots.flatMap((stored, index) => {
    const stream = streams.find(
      ({ sensorId, streamIndex }) => sensorId === timesSensor(stored) && streamIndex === stored.streamIndex,
    );
    if (!stream) return [];
    const phases = phaseNames.map((phase) => phaseOf(stored, phase, stream));
    const known = phases
      .flatMap(({ automaticS, byHand }) => [automaticS, byHand?.timeS ?? null])
      .filter((timeS) => timeS !== null);
    if (known.length === 0) return [];
    return [
      { id: stored.id, number: index + 1, stream, phases, fromS: Math.min(...known), untilS: Math.max(...known) },
    ];
  });
}

/** Whose recording time the times of a shot are: with two sensors that of the one it says. */
function timesSensor({ sensorId, shot }: WireStoredShot): string | null {
  const own = shot.timesOf === undefined ? null : (shot[shot.timesOf]?.sensorId ?? null);
  return own ?? sensorId;
}

function phaseOf({ shot, corrections }: WireStoredShot, phase: PhaseName, stream: WireSignalStream): ShotPhase {
  const timeS = shot[`${phase}S`];
  const correction = corrections.find((each) => each.phase === phase && isOf(each, stream));
  return {
    phase,
    automaticS: timeS === null ? null : toSession(stream, timeS),
    errorS: shot.timeErrorsS[phase],
    reason: timeS === null ? (shot.timeReasons[phase] ?? null) : null,
    byHand: correction
      ? { timeS: toSession(stream, correction.timeS), byName: correction.byName, madeS: correction.madeS }
      : null,
  };
}

function isOf(correction: WireCorrection, stream: WireSignalStream): boolean {
  return correction.sensorId === stream.sensorId && correction.streamIndex === stream.streamIndex;
}

function toSession({ clock }: WireSignalStream, timeS: number): number {
  return clock.zeroS + clock.slope * timeS;
}

/** @returns recording time of a session time. */
export function toRecording({ clock }: WireSignalStream, sessionS: number): number {
  return (sessionS - clock.zeroS) / clock.slope;
}

/** @returns where a phase stands: as set by hand where it was, else as the analysis has it. */
export function placeOf({ byHand, automaticS }: ShotPhase): number | null {
  return byHand?.timeS ?? automaticS;
}

import type { ShotDocument } from '../../../server/wire/live-document.ts';
import { phaseNames } from '../shot-phases.ts';
import { researchTexts } from '../texts.ts';
import type { HeldStream } from './live-feed.ts';
import type { LiveMark } from './stage-tiles.ts';

/** A shot with its times on the clock of the service, s since the Unix epoch; null where the analysis has none, or none yet. */
export interface LiveShot {
  readonly shotId: string;
  readonly sensorId: string;
  readonly isFinal: boolean;
  readonly phases: readonly {
    readonly phase: (typeof phaseNames)[number];
    readonly timeS: number | null;
    readonly errorS: number | null;
    /** Whether there are samples there: none are held from before somebody watched. */
    readonly isSeen: boolean;
  }[];
}

/** @returns shots of the streams that are held, newest first. */
export function liveShots(shots: readonly ShotDocument[], streams: readonly HeldStream[]): readonly LiveShot[] {
  return shots.flatMap(({ shotId, sensorId, streamIndex, shot }) => {
    // With two sensors the times are of the one that it says; only of its own does the document know the stream.
    const own = (shot.timesOf === undefined ? null : shot[shot.timesOf]?.sensorId) ?? sensorId;
    const stream = streams.findLast(
      ({ about }) => about.sensorId === own && (own !== sensorId || about.streamIndex === streamIndex),
    );
    const clock = stream?.clock ?? null;
    if (!stream || clock === null) return [];
    const { ring } = stream;
    const phases = phaseNames.map((phase) => {
      const timeS = shot[`${phase}S`];
      return {
        phase,
        timeS: timeS === null ? null : clock.zeroS + clock.slope * timeS,
        errorS: shot.timeErrorsS[phase],
        isSeen: timeS !== null && ring.end > 0 && timeS >= ring.timeS(ring.start),
      };
    });
    return [{ shotId, sensorId: own, isFinal: shot.stage === 'final', phases }];
  });
}

/** @returns what is marked of them in the picture. */
export function liveMarks(shots: readonly LiveShot[]): readonly LiveMark[] {
  return shots.flatMap(({ shotId, phases }) =>
    phases.flatMap(({ phase, timeS, errorS, isSeen }, level) =>
      timeS === null || !isSeen
        ? []
        : [{ key: `${shotId} ${phase}`, timeS, errorS, phase, level, word: researchTexts.signals.phases[phase] }],
    ),
  );
}

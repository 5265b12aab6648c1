import { resolveParams } from '../../foundation/parameters.ts';
import { fromHost, type HostLine, toHost } from '../../shots/merge/host-line.ts';
import type { HeardShot } from '../../shots/merge/match-shots.ts';
import { mergeParams } from '../../shots/merge/merge-params.ts';
import type { MergedShot } from '../../shots/merge/merge-shots.ts';
import { type MergedEvent, ShotMerger } from '../../shots/merge/shot-merger.ts';
import type { RejectedFlight, Shot, ShotEvent } from '../../shots/shot.ts';
import type { AnalysedShot, Analysis } from './analysis-schema.ts';
import { toAnalysedShot } from './compose-analysis.ts';

/** One sensor's part of a recording, analysed, with what it takes to put it beside another's. */
export interface HeardSensor {
  readonly sensorId: string;
  readonly analysis: Analysis;
  readonly shots: readonly Shot[];
  readonly rejected: readonly RejectedFlight[];
  /** Host time over its recording time, from all of the recording. */
  readonly clock: HostLine;
}

interface Said {
  readonly place: 'ball' | 'wrist';
  readonly hostS: number;
  readonly event: ShotEvent;
}

const params = resolveParams(mergeParams);

/** @returns one document of a ball and an arm sensor; all its times are those of the ball's recording. */
export function mergeAnalyses(ball: HeardSensor, wrist: HeardSensor): Analysis {
  const said = [...saidBy(ball, 'ball'), ...saidBy(wrist, 'wrist')].sort((a, b) => a.hostS - b.hostS);
  const merger = new ShotMerger();
  const merged: MergedEvent[] = [];
  for (const { place, hostS, event } of said) {
    const { sensorId, clock } = place === 'ball' ? ball : wrist;
    merged.push(...merger.push(place, sensorId, event, clock, hostS));
  }
  merged.push(...merger.finish());
  const shots: AnalysedShot[] = [];
  const rejected: Analysis['rejected'] = [];
  for (const event of merged) {
    if (event.kind === 'shot') {
      shots.push(withSources(event.shot.timesOf === 'ball' ? event.shot : onBallClock(event.shot, ball, wrist)));
    } else {
      const { kind, reason, startS, endS } = event.rejected;
      const at = (timeS: number) => (event.place === 'ball' ? timeS : carried(timeS, ball, wrist).timeS);
      rejected.push({ startS: at(startS), endS: at(endS), kind, reason, seenBy: event.place });
    }
  }
  const orderS = ({ releaseS, contactS }: AnalysedShot) => releaseS ?? contactS ?? Number.POSITIVE_INFINITY;
  const { recording, analysis } = wrist.analysis;
  return {
    ...ball.analysis,
    arm: { recording, sensor: analysis.parameters.sensor },
    shots: shots.sort((a, b) => orderS(a) - orderS(b)).map((shot, index) => ({ ...shot, index })),
    rejected: rejected.sort((a, b) => a.startS - b.startS),
  };
}

function saidBy({ shots, rejected, clock }: HeardSensor, place: Said['place']): Said[] {
  const host = (timeS: number) => toHost(clock, timeS).hostS;
  return [
    ...shots.map((shot): Said => {
      const timeS = shot.releaseS ?? (shot.contactS === null ? null : shot.contactS - params.flightS);
      return { place, hostS: host(timeS ?? shot.liftS ?? shot.pickupS ?? 0), event: { kind: 'shot', shot } };
    }),
    ...rejected.map((flight): Said => {
      return { place, hostS: host(flight.startS), event: { kind: 'rejected', rejected: flight } };
    }),
  ];
}

/** A time of the arm's recording in that of the ball's, and what the way there adds to its error. */
function carried(timeS: number, ball: Pick<HeardShot, 'clock'>, wrist: Pick<HeardShot, 'clock'>) {
  const host = toHost(wrist.clock, timeS);
  const back = fromHost(ball.clock, host.hostS);
  const { standardErrorS } = toHost(ball.clock, back);
  return { timeS: back, errorS: Math.hypot(host.standardErrorS, standardErrorS, params.hostDelaySdS) };
}

/** A shot that the arm's sensor alone saw, with its times in the ball's recording. */
function onBallClock(shot: MergedShot, ball: HeardSensor, wrist: HeardSensor): MergedShot {
  const at = (timeS: number | null) => (timeS === null ? null : carried(timeS, ball, wrist).timeS);
  const error = (timeS: number | null, errorS: number | null) =>
    timeS === null || errorS === null ? null : Math.hypot(errorS, carried(timeS, ball, wrist).errorS);
  const { pickupS, liftS, releaseS, contactS, timeErrorsS } = shot;
  return {
    ...shot,
    timesOf: 'ball',
    pickupS: at(pickupS),
    liftS: at(liftS),
    releaseS: at(releaseS),
    contactS: at(contactS),
    timeErrorsS: {
      pickup: error(pickupS, timeErrorsS.pickup),
      lift: error(liftS, timeErrorsS.lift),
      release: error(releaseS, timeErrorsS.release),
      contact: error(contactS, timeErrorsS.contact),
    },
  };
}

function withSources(shot: MergedShot): AnalysedShot {
  const { ball, wrist, timeSources, flags } = shot;
  return { ...toAnalysedShot(shot), ball, wrist, timeSources, flags: [...flags] };
}

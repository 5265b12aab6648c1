import type { Shot, ShotMeasureName } from '../../src/shots/shot.ts';
import { playShooter, type SeenShots, type ShooterSession, type TrueShot } from './play-shooter.ts';

/** A shot as rules look at it, and which shot of the session it was. */
export interface SeenShot {
  readonly startKind: Shot['startKind'];
  readonly measures: Shot['measures'];
  /** Number of the shot in the session, from 0; null where no shot was shot near it. */
  readonly act: number | null;
}

/** A whole session as each sensor alone and both together saw it: plain data. */
export interface SeenSession {
  readonly ball: readonly SeenShot[];
  readonly wrist: readonly SeenShot[];
  readonly both: readonly SeenShot[];
  /** What the shots of the session truly were, by ball and by wrist: measures that there are. */
  readonly truth: { readonly ball: readonly TrueMeasures[]; readonly wrist: readonly TrueMeasures[] };
}

export type TrueMeasures = Readonly<Partial<Record<ShotMeasureName, number>>>;

/** Shots are six seconds apart or more. */
const nearS = 2.5;

/** Plays the session to its end. */
export function seeSession(session: ShooterSession): SeenSession {
  let last: SeenShots | null = null;
  for (const seen of playShooter(session)) last = seen;
  if (last === null) return { ball: [], wrist: [], both: [], truth: { ball: [], wrist: [] } };
  const { ball, wrist, both, truth } = last;
  return {
    ball: ball.map((shot) => seenShot(shot, truth.ball)),
    wrist: wrist.map((shot) => seenShot(shot, truth.wrist)),
    both: both.map((shot) => seenShot(shot, truth[shot.timesOf])),
    truth: { ball: truth.ball.map(trueMeasures), wrist: truth.wrist.map(trueMeasures) },
  };
}

function trueMeasures({ measures }: TrueShot): TrueMeasures {
  const known = Object.entries(measures).flatMap(([name, { value }]) => (value === null ? [] : [[name, value]]));
  return Object.fromEntries(known);
}

function seenShot(shot: Shot, shots: readonly TrueShot[]): SeenShot {
  const atS = shot.releaseS ?? shot.contactS ?? shot.liftS ?? shot.pickupS ?? Number.NaN;
  const act = shots.findIndex(({ releaseS }) => Math.abs(releaseS - atS) < nearS);
  return { startKind: shot.startKind, measures: shot.measures, act: act < 0 ? null : act };
}

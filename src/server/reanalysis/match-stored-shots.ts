import type { StoredShot } from '../../sessions/database/shot-records.ts';
import type { MergedShot } from '../../shots/merge/merge-shots.ts';
import type { Shot } from '../../shots/shot.ts';
import type { ReanalysedShot } from './analyse-recording.ts';

/** What a session had and what its recording gives now, side by side. */
export interface MatchedShots {
  readonly again: readonly { readonly old: StoredShot; readonly now: ReanalysedShot }[];
  /** Records that were of a second sensor alone and are now part of another record. */
  readonly absorbed: readonly { readonly old: StoredShot; readonly into: StoredShot }[];
  readonly added: readonly ReanalysedShot[];
  readonly notFound: readonly StoredShot[];
}

/** Releases of one shot lie this near to each other, whatever version found them, s. */
const sameShotS = 0.3;
/** A shot's record may lie this much later where it was dated by when it was told, s. */
const toldLateS = 5;

/** Brings together what is one shot: nearest releases first, of the same sensor before those of its partner. */
export function matchStoredShots(before: readonly StoredShot[], found: readonly ReanalysedShot[]): MatchedShots {
  const candidates = before
    .flatMap((old) => found.map((now) => ({ old, now, ...distance(old, now) })))
    .filter(({ apartS }) => apartS < sameShotS)
    .sort((a, b) => Number(b.isOwn) - Number(a.isOwn) || a.apartS - b.apartS);
  const again: { old: StoredShot; now: ReanalysedShot }[] = [];
  const taken = new Set<StoredShot | ReanalysedShot>();
  for (const { old, now } of candidates) {
    if (taken.has(old) || taken.has(now)) continue;
    taken.add(old).add(now);
    again.push({ old, now });
  }
  const left = before.filter((old) => !taken.has(old));
  const absorbed = left.flatMap((old) => {
    const into = again.find(({ now }) => isPartOf(old, now));
    return into ? [{ old, into: into.old }] : [];
  });
  return {
    again,
    absorbed,
    added: found.filter((now) => !taken.has(now)),
    notFound: left.filter((old) => !absorbed.some((each) => each.old === old)),
  };
}

function distance(old: StoredShot, now: ReanalysedShot): { isOwn: boolean; apartS: number } {
  const isOwn = old.sensor_id === now.sensorId;
  const apartS = Math.abs(now.atS - old.at_s);
  if (!isOwn) return { isOwn, apartS: partIn(old, now) ? apartS : Number.POSITIVE_INFINITY };
  const [then, release] = [old.result.shot.releaseS, now.shot.releaseS];
  // The sensor's own time is the sharper one; where the recording lacks its beginning it starts elsewhere.
  const isSameTime = old.stream_index === now.streamIndex && then !== null && release !== null;
  return { isOwn, apartS: Math.min(apartS, isSameTime ? Math.abs(release - then) : apartS) };
}

/** What the sensor of a stored shot has to do with a shot of two sensors. */
function partIn(old: StoredShot, { shot }: ReanalysedShot): { readonly index: number } | null {
  const { ball, wrist } = shot as Shot & Partial<MergedShot>;
  return [ball, wrist].find((part) => part?.sensorId === old.sensor_id) ?? null;
}

function isPartOf(old: StoredShot, now: ReanalysedShot): boolean {
  const part = old.sensor_id === now.sensorId ? null : partIn(old, now);
  if (!part) return false;
  const apartS = Math.abs(now.atS - old.at_s);
  return apartS < sameShotS || (part.index === old.shot_index && apartS < toldLateS);
}

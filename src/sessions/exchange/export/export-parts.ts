/** Which stretches of which sensors are a player's: the rest of a recording is not exported. */
import { sensorsOf } from '../../database/recorded-traces.ts';
import type { StoredShot } from '../../database/shot-records.ts';

/** A stretch of host time, half-open, s. */
export interface Stretch {
  readonly fromS: number;
  readonly untilS: number;
}

/** What one player (or nobody who is named) has of one sensor in one session. */
export interface ExportPart {
  readonly playerId: string | null;
  readonly sensorId: string;
  /** In order and apart from each other. */
  readonly stretches: readonly Stretch[];
}

/** Around a release, s: from the gather to where the ball has come to rest. */
const beforeS = 15;
const afterS = 10;

/** The whole stream. */
export const always: Stretch = { fromS: Number.NEGATIVE_INFINITY, untilS: Number.POSITIVE_INFINITY };

/** @returns every sensor that saw a shot. */
export function sensorsOfShot({ sensor_id, result: { shot } }: StoredShot): string[] {
  return sensorsOf(sensor_id, shot as object);
}

/**
 * A sensor whose shots of the session all go out as one player's goes out as a whole. Of one that others shot with too, or of
 * whose shots some stay here, only what lies around each shot that goes out does, up to the middle between it and another's.
 * A sensor that saw no shot goes out where its owner, or everybody who shot there, is that one player.
 *
 * @param all every shot of the session.
 * @param exported those of them that go out.
 * @param owners player who owns a sensor, by its id; null where nobody does.
 */
export function exportParts(
  all: readonly StoredShot[],
  exported: readonly StoredShot[],
  owners: ReadonlyMap<string, string | null>,
): ExportPart[] {
  const goesOut = new Set(exported.map(({ id }) => id));
  const shooters = new Set(exported.map(({ player_id }) => player_id));
  const parts: ExportPart[] = [];
  for (const [sensorId, ownerId] of owners) {
    const seen = all.filter((shot) => sensorsOfShot(shot).includes(sensorId)).sort((a, b) => a.at_s - b.at_s);
    const own = seen.filter(({ id }) => goesOut.has(id));
    const players = new Set(own.map(({ player_id }) => player_id));
    if (seen.length === 0) {
      const [only = null] = shooters;
      const isTheirs =
        shooters.size === 1 && all.every(({ id }) => goesOut.has(id)) && (ownerId === null || ownerId === only);
      if (isTheirs) parts.push({ playerId: only, sensorId, stretches: [always] });
      continue;
    }
    const isWhole = own.length === seen.length && players.size === 1;
    for (const playerId of players) {
      const stretches = isWhole ? [always] : stretchesOf(playerId, seen, goesOut);
      parts.push({ playerId, sensorId, stretches });
    }
  }
  return parts;
}

function stretchesOf(playerId: string | null, seen: readonly StoredShot[], goesOut: ReadonlySet<string>): Stretch[] {
  const stretches: Stretch[] = [];
  const isOwn = (shot: StoredShot | undefined) => shot?.player_id === playerId && goesOut.has(shot.id);
  for (const [at, shot] of seen.entries()) {
    if (!isOwn(shot)) continue;
    const [before, after] = [seen[at - 1], seen[at + 1]];
    const sinceOther = before && !isOwn(before) ? (before.at_s + shot.at_s) / 2 : Number.NEGATIVE_INFINITY;
    const untilOther = after && !isOwn(after) ? (after.at_s + shot.at_s) / 2 : Number.POSITIVE_INFINITY;
    const fromS = Math.max(shot.at_s - beforeS, sinceOther);
    const untilS = Math.min(shot.at_s + afterS, untilOther);
    const last = stretches.at(-1);
    if (last && fromS <= last.untilS) stretches[stretches.length - 1] = { fromS: last.fromS, untilS };
    else stretches.push({ fromS, untilS });
  }
  return stretches;
}

/** Whether an instant lies in one of the stretches. */
export function isInStretches(stretches: readonly Stretch[], hostS: number): boolean {
  return stretches.some(({ fromS, untilS }) => hostS >= fromS && hostS < untilS);
}

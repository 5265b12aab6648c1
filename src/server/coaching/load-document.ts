import { type LoadDay, summarizeLoad } from '../../coaching/load.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { Player } from '../../sessions/database/player-records.ts';
import type { LoadAnswer } from './answer-types.ts';
import { dateOfDay, dayNumber, localDate, mondayOf } from './local-day.ts';
import { ageYearsOf } from './player-watch.ts';

const shownDays = 56;
/** The cautions look back a year. */
const lookBackDays = 370;
/** A stretch without shots longer than this is a break, not practice. */
const breakS = 20 * 60;
/** A shot stands for at least so much time. */
const shotMinutes = 0.25;

interface DayLoad {
  shots: number;
  minutes: number;
  shotsByHand: number;
  minutesByHand: number;
}

/**
 * Shots and minutes of a player by day and week, with the cautions for the young. Minutes are those from shot to shot, breaks of
 * twenty minutes taken out; what was told by hand comes on top.
 */
export async function loadDocument(
  store: ClubStore,
  player: Player,
  nowS: number,
  timeZone: string,
): Promise<LoadAnswer> {
  const days = new Map<number, DayLoad>();
  const dayOf = (day: number): DayLoad => {
    const known = days.get(day) ?? { shots: 0, minutes: 0, shotsByHand: 0, minutesByHand: 0 };
    days.set(day, known);
    return known;
  };
  const today = dayNumber(localDate(nowS, timeZone));
  const shots = await store.shots.all({ playerId: player.id, fromS: nowS - lookBackDays * 86_400 });
  let lastS = Number.NEGATIVE_INFINITY;
  for (const { at_s } of shots) {
    const load = dayOf(dayNumber(localDate(at_s, timeZone)));
    load.shots++;
    load.minutes += at_s - lastS <= breakS ? (at_s - lastS) / 60 : shotMinutes;
    lastS = at_s;
  }
  for (const { date, shots: told, minutes } of await store.coaching.loadEntries(player.id)) {
    const load = dayOf(dayNumber(date));
    load.shots += told;
    load.minutes += minutes;
    load.shotsByHand += told;
    load.minutesByHand += minutes;
  }
  const sorted = [...days].sort(([a], [b]) => a - b);
  // Whoever shot for more minutes than a day has was told wrongly by hand; the day is what it can be.
  const loadDays = sorted.map(([day, load]): LoadDay => {
    return { day, shots: Math.min(100_000, load.shots), minutes: Math.min(1440, load.minutes) };
  });
  const { cautions, ...summary } = summarizeLoad(loadDays, today, ageYearsOf(player));
  const shown = sorted.filter(([day]) => day > today - shownDays && day <= today);
  const weeks = new Map<string, { shots: number; minutes: number; days: number }>();
  for (const [day, { shots: count, minutes }] of shown) {
    const monday = mondayOf(day);
    const week = weeks.get(monday) ?? { shots: 0, minutes: 0, days: 0 };
    week.shots += count;
    week.minutes += minutes;
    week.days += count > 0 ? 1 : 0;
    weeks.set(monday, week);
  }
  return {
    playerId: player.id,
    days: shown.map(([day, load]) => ({ date: dateOfDay(day), ...load })),
    weeks: [...weeks].map(([monday, week]) => ({ monday, ...week })),
    ...summary,
    cautions: cautions.map((caution) => ({ ...caution })),
  };
}

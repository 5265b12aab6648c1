import { requireWithin } from '../study/checks.ts';

/** A day with shots, as far as it is known. */
export interface LoadDay {
  /** Number of the day, counted on. */
  readonly day: number;
  readonly shots: number;
  readonly minutes: number;
}

export interface LoadCaution {
  readonly code: 'rest-days' | 'hours-above-age' | 'long-practice' | 'pain' | 'months-off';
  readonly text: string;
  readonly source: string;
}

export interface LoadSummary {
  readonly shotsToday: number;
  readonly shots7Days: number;
  readonly shots7DaysBefore: number;
  readonly minutes7Days: number;
  readonly days7: number;
  readonly cautions: readonly LoadCaution[];
}

interface LoadGuide {
  readonly fromAge: number;
  readonly restDays: number;
  readonly practiceMinutes: number;
}

/**
 * Guide for organised play by age: rest days a week and longest practice. Source: guidelines of a youth basketball body
 * (consensus printed in PMC6096539, table 4; practice times from a school sports body). Shooting alone is not "organised" there: it
 * comes on top and is not limited by that table.
 */
const guides: readonly LoadGuide[] = [
  { fromAge: 0, restDays: 2, practiceMinutes: 60 },
  { fromAge: 9, restDays: 2, practiceMinutes: 75 },
  { fromAge: 12, restDays: 1, practiceMinutes: 90 },
  { fromAge: 14, restDays: 1, practiceMinutes: 120 },
];

const guideSource = 'youth basketball guidelines (PMC6096539, table 4), made for organised play';

/**
 * Shots of the day and week, with the usual cautions for the young. There is no limit of shots: none was found for basketball, and
 * none is invented.
 *
 * @param today number of the day; @param ageYears null where nobody told it: the cautions are then those for the youngest.
 */
export function summarizeLoad(days: readonly LoadDay[], today: number, ageYears: number | null): LoadSummary {
  for (const { shots, minutes } of days) {
    requireWithin('shots of a day', shots, 0, 100_000);
    requireWithin('minutes of a day', minutes, 0, 1440);
  }
  const within = (from: number, to: number) => days.filter(({ day, shots }) => day >= from && day <= to && shots > 0);
  const sum = (list: readonly LoadDay[], of: 'shots' | 'minutes') => list.reduce((total, one) => total + one[of], 0);
  const week = within(today - 6, today);
  const age = ageYears ?? 0;
  const guide = guides.findLast(({ fromAge }) => age >= fromAge) ?? guides[0]!;
  const days7 = new Set(week.map(({ day }) => day)).size;
  const cautions: LoadCaution[] = [];
  if (age < 18 && 7 - days7 < guide.restDays) {
    cautions.push({
      code: 'rest-days',
      text: `${days7} of the last 7 days had shots: ${guide.restDays === 1 ? 'a day' : `${guide.restDays} days`} without basketball each week is advised at this age.`,
      source: `${guideSource}; American Academy of Pediatrics: at most 5 days a week of one sport, 1 to 2 days off`,
    });
  }
  const hours = sum(week, 'minutes') / 60;
  const mostHours = Math.min(16, Math.max(1, age));
  if (ageYears !== null && age < 18 && hours > mostHours) {
    cautions.push({
      code: 'hours-above-age',
      text: `${hours.toFixed(1)} hours in 7 days: more hours a week than years of age (16 at most) go with more injuries of overuse.`,
      source: 'common rule of youth sports medicine: weekly hours not above age, up to 16',
    });
  }
  const todayMinutes = sum(within(today, today), 'minutes');
  if (age < 18 && todayMinutes > guide.practiceMinutes) {
    cautions.push({
      code: 'long-practice',
      text: `${Math.round(todayMinutes)} minutes today: practices up to ${guide.practiceMinutes} minutes are advised at this age.`,
      source: guideSource,
    });
  }
  const months = new Set(within(today - 364, today).map(({ day }) => Math.floor((today - day) / 30.4))).size;
  if (age < 18 && months > 10) {
    cautions.push({
      code: 'months-off',
      text: 'Shots in nearly every month of the last year: two to three months a year without this sport are advised.',
      source: 'American Academy of Pediatrics: 2 to 3 months off a year',
    });
  }
  cautions.push({
    code: 'pain',
    text: 'Pain in shoulder, elbow, wrist or knee: stop, and see a clinician.',
    source: 'common care',
  });
  return Object.freeze({
    shotsToday: sum(within(today, today), 'shots'),
    shots7Days: sum(week, 'shots'),
    shots7DaysBefore: sum(within(today - 13, today - 7), 'shots'),
    minutes7Days: sum(week, 'minutes'),
    days7,
    cautions,
  });
}

import { type Measured, type NullReason, nullReasons } from '../../foundation/measured.ts';
import type { Shot, ShotMeasureName } from '../../shots/shot.ts';
import { measuredText, type SignWords, timeText } from './measured-text.ts';
import type { TextColumn } from './text-width.ts';

interface MeasureWords {
  readonly name: ShotMeasureName;
  /** What a coach calls it, and its unit. */
  readonly title: string;
  readonly signs?: SignWords;
}

const measureWords: readonly MeasureWords[] = [
  { name: 'pickupToReleaseS', title: 'pickup to release s' },
  { name: 'liftToReleaseS', title: 'lift to release s' },
  { name: 'pauseS', title: 'pause s' },
  { name: 'dipDepthM', title: 'dip m' },
  { name: 'sidePathM', title: 'path to the side m', signs: 'left-right' },
  { name: 'flightS', title: 'flight s' },
  { name: 'spinRps', title: 'spin rev/s' },
  { name: 'backspinRps', title: 'backspin rev/s' },
  { name: 'sidespinRps', title: 'sidespin rev/s', signs: 'left-right' },
  { name: 'rifleSpinRps', title: 'rifle spin rev/s', signs: 'clockwise' },
  { name: 'axisTiltDeg', title: 'tilt of spin axis °', signs: 'left-right' },
  { name: 'launchSpeedMps', title: 'launch speed m/s' },
  { name: 'launchAngleDeg', title: 'launch angle °' },
  { name: 'entryAngleDeg', title: 'entry angle °' },
  { name: 'apexM', title: 'top above release m' },
  { name: 'speedMarginMps', title: 'speed to spare m/s' },
  { name: 'contactHardnessMps', title: 'first contact m/s' },
  { name: 'sidewaysImpulseMps', title: 'push to the side m/s', signs: 'left-right' },
  { name: 'spinBeforeLiftRps', title: 'spin before lift rev/s' },
  { name: 'snapPeakDegps', title: 'snap °/s' },
  { name: 'snapToReleaseS', title: 'snap before release s' },
  { name: 'forearmElevationDeg', title: 'forearm above level °' },
  { name: 'pathPlanarity', title: 'path off its plane' },
  { name: 'followThroughS', title: 'follow-through s' },
  { name: 'headingChangeDeg', title: 'turn in the air °', signs: 'left-right' },
];

/** The columns of the shots, and what is said in words instead. */
export interface ShotColumns {
  readonly first: TextColumn;
  readonly columns: readonly TextColumn[];
  /** Measures that no shot has, all for one reason. */
  readonly missing: readonly { readonly title: string; readonly reason: NullReason }[];
  /** Reason words that stand in cells. */
  readonly reasons: readonly NullReason[];
}

/** A shot as a table shows it. */
export type ShownShot = Omit<Shot, 'stage'>;

/** @returns one row a shot, with plain words over the columns. */
export function shotColumns(shots: readonly ShownShot[]): ShotColumns {
  const reasons = new Set<NullReason>();
  const missing: { title: string; reason: NullReason }[] = [];
  const columns: TextColumn[] = [
    { title: 'start', cells: shots.map(({ startKind }) => startKind) },
    {
      title: 'release at s',
      cells: shots.map((shot) => {
        const reason = shot.timeReasons.release;
        if (shot.releaseS === null && reason) reasons.add(reason);
        return timeText(shot.releaseS, shot.timeErrorsS.release, reason);
      }),
    },
  ];
  if (!shots.every(({ timeReasons }) => timeReasons.contact === 'not-observable-from-wrist')) {
    columns.push({ title: 'ends at', cells: shots.map(({ contactKind }) => contactKind) });
  }
  for (const { name, title, signs = 'plain' } of measureWords) {
    const values = shots.map((shot) => shot.measures[name] as Measured);
    const why = new Set(values.map((measured) => (measured.value === null ? measured.reason : null)));
    const [only] = why;
    // A coach who put the sensor into the ball did not ask for the arm.
    if (why.size === 1 && only === 'not-observable-from-ball') continue;
    if (why.size === 1 && only) {
      missing.push({ title, reason: only });
      continue;
    }
    for (const reason of why) if (reason) reasons.add(reason);
    const cells = values.map((measured) => measuredText(measured, signs));
    columns.push({ title, cells: name === 'pauseS' ? cells.map((cell, i) => withPauseAt(cell, shots[i])) : cells });
  }
  const first = { title: 'shot', cells: shots.map((_, i) => String(i + 1)) };
  return { first, columns, missing, reasons: [...reasons] };
}

function withPauseAt(cell: string, shot: ShownShot | undefined): string {
  return shot?.pauseAt ? `${cell} ${shot.pauseAt}` : cell;
}

/** @returns the sentence behind a reason word. */
export function reasonSentence(reason: NullReason): string {
  return nullReasons[reason];
}

/** @returns what a measure is called, without its unit. */
export function measureTitle(name: ShotMeasureName): string | null {
  const words = measureWords.find((measure) => measure.name === name);
  return words ? withoutUnit(words.title) : null;
}

/** @returns the title of a column without the unit at its end. */
export function withoutUnit(title: string): string {
  return title.replace(/ (s|m|m\/s|rev\/s|°|°\/s)$/, '');
}

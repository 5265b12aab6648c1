import type { Analysis, AnalysisRecording } from '../analyze/analysis-schema.ts';
import { measureTitle, reasonSentence, type ShownShot, shotColumns, withoutUnit } from './shot-columns.ts';
import { seenByColumn, sourceNotes } from './source-notes.ts';
import { layOutTable, type TextColumn, wrapText } from './text-width.ts';

const narrowest = 40;

const placeWords = {
  wrist: 'on the wrist or hand',
  forearm: 'on the forearm above the wrist',
  'back-of-hand': 'on the back of the hand',
} as const;

/** One and several of what was no shot. */
const rejectedWords = {
  pass: ['pass', 'passes'],
  dribble: ['dribble', 'dribbles'],
  toss: ['toss', 'tosses'],
  drop: ['drop', 'drops'],
  rebound: ['rebound', 'rebounds'],
  'not-flight': ['stretch without free flight', 'stretches without free flight'],
  undecided: ['undecided', 'undecided'],
  'layup-like': ['like a layup', 'like layups'],
  'pump-fake': ['pump fake', 'pump fakes'],
  throw: ['throw', 'throws'],
  'other-movement': ['other movement', 'other movements'],
} as const;

/**
 * Sets an analysis as text for a person: what the recording is, one row a shot, what was not measured and why, what
 * was no shot, and what could not be read.
 *
 * @param widthColumns characters a line may have.
 * @returns text with a line end at its end.
 */
export function analysisText(analysis: Analysis, widthColumns: number): string {
  const width = Math.max(narrowest, widthColumns);
  const { recording, shots, arm } = analysis;
  const paragraphs = [headText(recording), ...(shots.length > 0 ? [] : ['No shot was found.'])];
  const lines = paragraphs.flatMap((text) => wrapText(text, width));
  if (arm) lines.push(...wrapText(headText(arm.recording), width));
  if (shots.length > 0) {
    // The schema's type says array where the shot's says pair.
    const shown = shots as unknown as ShownShot[];
    lines.push('', ...shotLines({ shots: shown, seenBy: arm ? seenByColumn(shots) : null }, width));
    if (arm) lines.push(...sourceNotes(shots, measureTitle).flatMap((note) => wrapRemark(note, width)));
  }
  const remarks = [...rejectedRemarks(analysis), ...recordingRemarks(recording)];
  if (arm) remarks.push(...recordingRemarks(arm.recording).map((remark) => `On the arm: ${remark}`));
  if (remarks.length > 0) lines.push('', ...remarks.flatMap((text) => wrapRemark(text, width)));
  return `${lines.join('\n')}\n`;
}

function headText(recording: AnalysisRecording): string {
  const { file, placement, mount, sampleRateHz, durationS, hasGyro, simulated } = recording;
  const rate = sampleRateHz === null ? '' : ` at ${sampleRateHz.toFixed(1)} Hz`;
  const gyro = hasGyro ? '' : ' without gyroscope';
  const made = simulated === true ? ' Simulated: no real ball stands behind it.' : '';
  const where = placement === 'ball' ? 'in the ball' : placeWords[mount ?? 'wrist'];
  return `${file}: sensor ${where}${gyro}, ${durationS.toFixed(1)} s${rate}.${made}`;
}

/** @returns lines: one row a shot, then what the marks and words in it mean. */
export function shotLines(
  { shots, seenBy = null }: { readonly shots: readonly ShownShot[]; readonly seenBy?: TextColumn | null },
  width: number,
): string[] {
  const { first, columns: ownColumns, missing, reasons } = shotColumns(shots);
  const columns = seenBy ? [seenBy, ...ownColumns] : ownColumns;
  const lines = layOutTable(first, columns, width);
  const cells = columns.flatMap((column) => column.cells);
  const notes: string[] = [];
  if (cells.some((cell) => cell.includes('±'))) {
    notes.push('± is one standard error: in two shots of three the truth lies within it.');
  }
  if (cells.some((cell) => cell.includes(' to '))) {
    notes.push('(a to b) holds the truth in nine shots of ten, where the error is not the same on both sides.');
  }
  if (cells.some((cell) => / (left|right)$/.test(cell))) notes.push("left, right: to the shooter's left or right.");
  for (const reason of reasons) notes.push(`${reason}: ${reasonSentence(reason)}.`);
  for (const [reason, titles] of groupBy(missing, ({ reason: key }) => key)) {
    notes.push(
      `Not measured: ${titles.map(({ title }) => withoutUnit(title)).join(', ')} (${reason}: ${reasonSentence(reason)}).`,
    );
  }
  return [...lines, '', ...notes.flatMap((note) => wrapRemark(note, width))];
}

function rejectedRemarks({ rejected }: Analysis): string[] {
  if (rejected.length === 0) return [];
  const kinds = groupBy(rejected, ({ kind }) => kind);
  const list = [...kinds].map(
    ([kind, members]) => `${members.length} ${rejectedWords[kind][members.length === 1 ? 0 : 1]}`,
  );
  return [
    `${rejected.length} ${rejected.length === 1 ? 'other was no shot' : 'others were no shots'}: ${list.join(', ')}.`,
  ];
}

function recordingRemarks(recording: AnalysisRecording): string[] {
  const { gapCount, clippedShare, badRows, badRowExamples, ignoredColumns, notifications, damage, warnings } =
    recording;
  const remarks: string[] = [];
  if (recording.calibratedAt) remarks.push(`Corrected by the calibration of ${recording.calibratedAt.slice(0, 10)}.`);
  if (recording.endsInFlight)
    remarks.push('The recording ends while the ball was in the air; what came after is not known.');
  if (gapCount > 0) remarks.push(`Samples are missing in ${gapCount} ${gapCount === 1 ? 'place' : 'places'}.`);
  if (clippedShare > 0) remarks.push(`${percent(clippedShare)} of the samples are at the end of the sensor's range.`);
  if (notifications && notifications.corrupt > 0) {
    remarks.push(`${notifications.corrupt} of ${notifications.received} notifications could not be read.`);
  }
  if (damage && !damage.isClosed)
    remarks.push('The end of the file is missing: it was cut off, or its writer did not end properly.');
  if (damage) for (const place of damage.places) remarks.push(`Damaged: ${place}.`);
  if (badRows > 0) {
    const more = badRows > badRowExamples.length ? `; the first ${badRowExamples.length}` : '';
    remarks.push(`${badRows} ${badRows === 1 ? 'row was' : 'rows were'} skipped${more}:`);
    for (const { line, reason } of badRowExamples) remarks.push(`line ${line}: ${reason}`);
  }
  if (ignoredColumns.length > 0) remarks.push(`Columns not used: ${ignoredColumns.join(', ')}.`);
  for (const { code, message } of warnings) remarks.push(`Warning ${code}: ${message}.`);
  return remarks;
}

function wrapRemark(text: string, width: number): string[] {
  return wrapText(text, width, '  ');
}

function percent(share: number): string {
  const value = 100 * share;
  return value < 0.1 ? 'Less than 0.1 %' : `${value.toFixed(1)} %`;
}

function groupBy<Item, Key>(items: readonly Item[], keyOf: (item: Item) => Key): Map<Key, Item[]> {
  const groups = new Map<Key, Item[]>();
  for (const item of items) {
    const key = keyOf(item);
    const group = groups.get(key);
    if (group) group.push(item);
    else groups.set(key, [item]);
  }
  return groups;
}

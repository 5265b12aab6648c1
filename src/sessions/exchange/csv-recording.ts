import { type ImuBlock, type SensorTraits, sampleFlag } from '../../foundation/imu-block.ts';
import type { OpenedFile } from '../recording-file.ts';
import { type RecordingWarning, UnreadableRecordingError } from '../unreadable.ts';
import { BadRowBook } from './bad-rows.ts';
import { isClipped } from './clip-levels.ts';
import { type CsvColumns, parseCsvHeader } from './csv-columns.ts';
import { readHeaderLine } from './csv-header-line.ts';
import type { CsvMapping } from './csv-mapping.ts';
import { type RowBlock, readCsvRows } from './csv-rows.ts';
import { type CsvSurvey, CsvSurveyor } from './csv-survey.ts';
import { mapCsvColumns } from './mapped-columns.ts';

/** This much of a file's start is read twice: about 20 minutes of seven columns at 200 Hz. */
const surveyBytes = 16_777_216;
/** From this share of rows with a gap before them on, the times as a whole are called uneven. */
const unevenShare = 0.1;

/** More steps back than this, and than this share of the rows, are no clock that started again: the rows are mixed up. */
const mixedUp = { rows: 10, share: 0.05 } as const;
/** A shorter recording cannot hold a shot. */
const shortestUsefulS = 1;

/** What was seen of a CSV recording while its blocks were read; complete after the last one. */
export interface CsvReport {
  readonly rows: number;
  readonly badRows: BadRowBook;
  readonly startS: number | null;
  readonly endS: number | null;
  readonly gapCount: number;
  readonly clippedRows: number;
  readonly warnings: readonly RecordingWarning[];
}

/**
 * A CSV recording, open for one reading from start to end with bounded memory.
 *
 * Header `t_s,ax_mps2,ay_mps2,az_mps2,gx_radps,gy_radps,gz_radps`; see `parseCsvHeader` for what may differ.
 * Rows that cannot be used are counted and skipped. Clipping is recognised from the values.
 */
export class CsvRecording {
  readonly columns: CsvColumns;
  /** Rates and ranges as the file shows them; null with fewer than two usable rows. */
  readonly traits: SensorTraits | null;
  readonly #file: OpenedFile;
  readonly #survey: CsvSurvey;
  readonly #badRows = new BadRowBook();
  #rows = 0;
  #startS: number | null = null;
  #endS: number | null = null;
  #gapCount = 0;
  #clippedRows = 0;

  private constructor(file: OpenedFile, columns: CsvColumns, survey: CsvSurvey) {
    this.#file = file;
    this.columns = columns;
    this.#survey = survey;
    this.traits =
      survey.usualStepS === null
        ? null
        : {
            nominalRateHz: 1 / survey.usualStepS,
            accelRangeMps2: lowestFinite(survey.accelLevels),
            gyroRangeRadps: columns.hasGyro ? lowestFinite(survey.gyroLevels) : null,
            filterDelayS: 0,
          };
  }

  /**
   * Reads the header and looks through the start of the file.
   *
   * @param mapping which columns are what, where their names do not say it.
   * @throws UnreadableRecordingError when it is no CSV recording, has no usable row or has its rows mixed up; SeamwiseError
   *   `mapping-file` when it lacks a column that the mapping names.
   */
  static async open(file: OpenedFile, mapping: CsvMapping | null = null): Promise<CsvRecording> {
    const header = await readHeaderLine(file);
    const columns = await (mapping
      ? mapCsvColumns(file.path, mapping, header.text, header.line)
      : parseCsvHeader(file.path, header.text, header.line));
    const surveyor = new CsvSurveyor(columns);
    const badRows = new BadRowBook();
    let rows = 0;
    for await (const block of readCsvRows(file, columns, badRows)) {
      surveyor.add(block);
      rows += block.length;
      if (rows > 0 && block.endByte >= surveyBytes) break;
    }
    if (rows === 0) throw noUsableRow(file, columns, badRows);
    refuseUnsorted(file, columns, rows, badRows);
    return new CsvRecording(file, columns, await surveyor.finish());
  }

  /**
   * Reads the samples in order. To be called once.
   *
   * @param onBytes told how many bytes of the file have been read.
   * @throws UnreadableRecordingError `recording-unsorted` after the last row of a file whose rows stand mixed up.
   */
  async *blocks(onBytes: (bytes: number) => void = () => {}): AsyncGenerator<ImuBlock> {
    for await (const rows of readCsvRows(this.#file, this.columns, this.#badRows)) {
      onBytes(rows.endByte);
      if (rows.length > 0) yield this.#toBlock(rows);
    }
    refuseUnsorted(this.#file, this.columns, this.#rows, this.#badRows);
  }

  #toBlock(rows: RowBlock): ImuBlock {
    const { length, timeS, accelMps2, gyroRadps } = rows;
    const { accelLevels, gyroLevels, gapStepS } = this.#survey;
    const flags = new Uint8Array(length);
    for (let i = 0; i < length; i++) {
      const now = timeS[i] as number;
      let flag = 0;
      if (this.#endS !== null && now - this.#endS > gapStepS) {
        flag |= sampleFlag.gapBefore;
        this.#gapCount += 1;
      }
      if (isClipped(accelMps2, 3 * i, accelLevels)) flag |= sampleFlag.accelClipped;
      if (gyroRadps && isClipped(gyroRadps, 3 * i, gyroLevels)) flag |= sampleFlag.gyroClipped;
      if (flag & (sampleFlag.accelClipped | sampleFlag.gyroClipped)) this.#clippedRows += 1;
      flags[i] = flag;
      this.#startS ??= now;
      this.#endS = now;
    }
    this.#rows += length;
    return {
      length,
      timeS: timeS.subarray(0, length),
      accelMps2: accelMps2.subarray(0, 3 * length),
      gyroRadps: gyroRadps ? gyroRadps.subarray(0, 3 * length) : null,
      flags,
    };
  }

  /** What was seen so far. */
  report(): CsvReport {
    return {
      rows: this.#rows,
      badRows: this.#badRows,
      startS: this.#startS,
      endS: this.#endS,
      gapCount: this.#gapCount,
      clippedRows: this.#clippedRows,
      warnings: [...this.#survey.warnings, ...this.#timeWarnings()],
    };
  }

  #timeWarnings(): RecordingWarning[] {
    const warnings: RecordingWarning[] = [];
    if (this.#rows > 20 && this.#gapCount > unevenShare * this.#rows) {
      warnings.push({
        code: 'uneven-times',
        message: `${this.#gapCount} of ${this.#rows} rows come later than the usual step of ${((this.#survey.usualStepS ?? 0) * 1000).toPrecision(3)} ms; every one counts as a gap`,
      });
    }
    const { timeCount, repeatCount, firstStepBack } = this.#badRows;
    const time = this.columns.names[this.columns.at[0] as number];
    if (repeatCount > unevenShare * this.#rows) {
      warnings.push({
        code: 'times-repeat',
        message: `${repeatCount} rows were skipped because they repeat the ${time} of the row above; write ${time} with more decimals, or remove doubled rows`,
      });
    }
    if (timeCount - repeatCount > unevenShare * this.#rows) {
      const first = firstStepBack
        ? `; first on line ${firstStepBack.line}, where ${firstStepBack.time} follows ${firstStepBack.timeAbove}`
        : '';
      warnings.push({
        code: 'times-not-increasing',
        message: `${timeCount - repeatCount} rows were skipped because ${time} goes back${first}; cut the file where its clock starts again and analyse the parts one by one`,
      });
    }
    const spanS = this.#startS === null || this.#endS === null ? 0 : this.#endS - this.#startS;
    if (spanS < shortestUsefulS) {
      warnings.push({
        code: 'recording-short',
        message: `the usable rows cover ${spanS.toFixed(3)} s; expected at least ${shortestUsefulS} s, the time of a shot and of what comes before it`,
      });
    }
    return warnings;
  }
}

function noUsableRow(file: OpenedFile, columns: CsvColumns, badRows: BadRowBook): UnreadableRecordingError {
  const example = badRows.first[0];
  return new UnreadableRecordingError('recording-no-usable-row', {
    where: example ? `${file.path}, line ${example.line}` : `${file.path}, after line 1`,
    expected: `at least one row with ${columns.width} columns and numbers in those that are used`,
    came: example ? `${badRows.count} rows, none usable; the first: ${example.reason}` : 'a header and no rows',
    remedy: example ? 'Repair the rows, or export the recording again.' : 'Export the recording again.',
  });
}

/**
 * Rows out of order are not sorted here: how far a row may stand from its place is not known, and a whole recording
 * does not fit into memory.
 */
function refuseUnsorted(file: OpenedFile, columns: CsvColumns, usable: number, badRows: BadRowBook): void {
  const { stepBackCount, firstStepBack, timeCount } = badRows;
  const rows = usable + timeCount;
  if (!firstStepBack || stepBackCount <= mixedUp.rows || stepBackCount <= mixedUp.share * rows) return;
  const time = columns.names[columns.at[0] as number];
  throw new UnreadableRecordingError('recording-unsorted', {
    where: `${file.path}, line ${firstStepBack.line}`,
    expected: `rows in the order of their time, ${time}`,
    came: `${stepBackCount} of ${rows} rows earlier than the row above them; the first: ${firstStepBack.time} after ${firstStepBack.timeAbove}`,
    remedy: `Sort the rows by ${time} (whole rows, the header stays on top) and analyse again.`,
  });
}

function lowestFinite(levels: Float64Array): number | null {
  const lowest = Math.min(...levels);
  return Number.isFinite(lowest) ? lowest : null;
}

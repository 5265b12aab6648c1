import { parse } from 'csv-parse/sync';
import { SeamwiseError } from '../../foundation/errors.ts';
import { type CsvColumns, refuseOtherSeparators } from './csv-columns.ts';
import type { CsvMapping, MappedQuantity } from './csv-mapping.ts';
import { type QuantityKind, unitFactor } from './unit-factors.ts';

/**
 * Finds the columns that a mapping names in the header of a CSV recording.
 *
 * @param line the header line, without its line end.
 * @param headerLine its number in the file, counted from 1.
 * @throws SeamwiseError `mapping-file` for a column that is not there, or there twice; UnreadableRecordingError
 *   `recording-separator`.
 */
export async function mapCsvColumns(
  path: string,
  mapping: CsvMapping,
  line: string,
  headerLine: number,
): Promise<CsvColumns> {
  refuseOtherSeparators(`${path}, line ${headerLine}`, line);
  const names = splitHeader(line).map((name) => name.trim());
  const at: number[] = [];
  const toSi: number[] = [];
  const offsetsSi: number[] = [];
  const unitToSi: number[] = [];
  const take = async (kind: QuantityKind, { columns, unit }: MappedQuantity): Promise<void> => {
    const factor = await unitFactor(kind, unit);
    for (const { name, scale, offset } of columns) {
      const found = names.flatMap((each, index) => (each === name ? [index] : []));
      const [index] = found;
      if (index === undefined || found.length > 1 || at.includes(index)) {
        const came =
          index === undefined
            ? `the columns ${names.map((each) => JSON.stringify(each.slice(0, 40))).join(', ')}`.slice(0, 400)
            : found.length > 1
              ? `that name ${found.length} times`
              : 'that column named twice in the mapping';
        throw new SeamwiseError(
          'mapping-file',
          `${path}, line ${headerLine}: expected one column ${JSON.stringify(name)} as ${mapping.file} says; came ${came}. Mend the mapping file or name the right recording.`,
        );
      }
      at.push(index);
      toSi.push(factor * scale);
      offsetsSi.push(factor * offset);
      unitToSi.push(factor);
    }
  };
  await take('time', mapping.time);
  await take('accel', mapping.accel);
  if (mapping.gyro) await take('gyro', mapping.gyro);
  return {
    headerLine,
    width: names.length,
    names,
    at,
    toSi,
    offsetsSi,
    unitToSi,
    mapped: true,
    hasGyro: mapping.gyro !== null,
    ignored: names.filter((_, index) => !at.includes(index)),
  };
}

/** A header that is no proper CSV line is taken as it stands: the names decide. */
function splitHeader(line: string): string[] {
  try {
    const rows: string[][] = parse(line);
    return rows[0] ?? [];
  } catch {
    return line.split(',');
  }
}

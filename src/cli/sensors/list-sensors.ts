import type { Surroundings } from '../surroundings.ts';
import { layOutTable } from '../table/text-width.ts';
import { RadioDesk, type SeenDevice } from './radio-desk.ts';

export interface ListWords {
  readonly seconds: number;
  readonly profile?: readonly string[];
  readonly json?: true;
}

/** Lists what is in the air; of sensors that fit a profile the id too. */
export async function listSensors(words: ListWords, surroundings: Surroundings): Promise<void> {
  const desk = await RadioDesk.open(surroundings, words);
  try {
    const seen = await desk.lookAround(words.seconds);
    const devices: SeenDevice[] = [];
    for (const device of seen) {
      const asks = device.kind !== null && device.sensorId === null && device.connectable;
      devices.push(asks ? { ...device, sensorId: await desk.readSensorId(device) } : device);
    }
    surroundings.stdout.write(words.json ? asJson(devices, desk) : asText(devices, words, surroundings));
    for (const problem of desk.problems) surroundings.stderr.write(`not used: ${problem}\n`);
  } finally {
    await desk.close();
  }
}

function asJson(devices: readonly SeenDevice[], { problems }: RadioDesk): string {
  const sensors = devices.map(({ kind, kindTitle, ...device }) => ({
    ...device,
    profile: kind?.name ?? null,
    profileTitle: kindTitle,
  }));
  return `${JSON.stringify({ devices: sensors, profileProblems: problems }, null, 2)}\n`;
}

function asText(devices: readonly SeenDevice[], { seconds }: ListWords, { widthColumns }: Surroundings): string {
  if (devices.length === 0) {
    return `Nothing was in the air for ${seconds} s. Wake the sensor up (move it), bring it nearer, or listen longer with --seconds.\n`;
  }
  // Sensors first; the rest is there to be recognised.
  const sorted = [...devices.filter(({ kind }) => kind !== null), ...devices.filter(({ kind }) => kind === null)];
  const cells = (cell: (device: SeenDevice) => string): string[] => sorted.map(cell);
  const lines = layOutTable(
    { title: 'Address', cells: cells(({ radioId }) => radioId) },
    [
      { title: 'Signal, dBm', cells: cells(({ strongestDbm }) => String(strongestDbm)) },
      { title: 'Name', cells: cells(({ name }) => name ?? '–') },
      { title: 'Profile', cells: cells(({ kind }) => kind?.name ?? 'none fits') },
      { title: 'Sensor id', cells: cells(({ sensorId, kind }) => sensorId ?? (kind === null ? '' : 'not read')) },
    ],
    widthColumns,
  );
  return `${lines.join('\n')}\n`;
}

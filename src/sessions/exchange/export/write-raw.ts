import { decodeSensorDescription, encodeSensorDescription } from '../../../protocol/sensor-description.ts';
import type { Mark } from '../../database/mark-records.ts';
import { RecordingReader } from '../../recording/recording-reader.ts';
import { RecordingWriter } from '../../recording/recording-writer.ts';
import { openRecordingFile } from '../../recording-file.ts';
import { type ExportPart, isInStretches } from './export-parts.ts';
import type { RecordingSamples } from './sample-source.ts';

export interface RawExport {
  readonly from: string;
  readonly to: string;
  /** What of it is the player's. */
  readonly parts: readonly ExportPart[];
  readonly shiftS: number;
  readonly rawSensorId: (sensorId: string) => string;
  readonly marks: readonly Mark[];
  /** Who owns which sensor. */
  readonly owners: ReadonlyMap<string, string | null>;
  readonly samples: Pick<RecordingSamples, 'settingsNote' | 'setups'>;
  readonly simulated: boolean;
}

/**
 * Copies what is a player's out of a recording, notification by notification: sensors under other ids, instants moved, nothing of
 * anybody else. What is known of the sensors beside the recording goes along, so that it gives the same shots elsewhere.
 */
export async function writeRaw(raw: RawExport): Promise<void> {
  const { parts, shiftS, rawSensorId, marks } = raw;
  const isWhole = parts.every(({ stretches }) => stretches.every(({ fromS }) => fromS === Number.NEGATIVE_INFINITY));
  const opened = await openRecordingFile(raw.from);
  try {
    const reader = await RecordingReader.open(opened);
    const about = { exported: 'true', simulated: String(raw.simulated), ...(isWhole ? {} : { cut: 'true' }) };
    const writer = await RecordingWriter.create(raw.to, about);
    try {
      let isFirst = true;
      for await (const { kind, sensorId, bytes, hostTimeS } of reader.entries()) {
        const part = parts.find((each) => each.sensorId === sensorId);
        if (!part) continue;
        const atS = hostTimeS - shiftS;
        if (isFirst) await writer.note('settings', settingsNote(raw), atS);
        isFirst = false;
        if (kind === 'description') {
          const described = renamed(bytes, rawSensorId(sensorId));
          if (described) await writer.describe(rawSensorId(sensorId), described, atS);
        } else if (isInStretches(part.stretches, hostTimeS)) {
          await writer.add({ sensorId: rawSensorId(sensorId), bytes, hostTimeS: atS });
        }
      }
      for (const mark of marks) await writer.note('mark', markNote(mark, raw), mark.at_s - shiftS);
    } finally {
      await writer.close();
    }
  } finally {
    await opened.handle.close();
  }
}

/** @returns the description under another id, or null where it cannot be read: the original would tell the sensor's own. */
function renamed(bytes: Uint8Array, sensorId: string): Uint8Array | null {
  try {
    return encodeSensorDescription({ ...decodeSensorDescription(bytes), sensorId });
  } catch {
    return null;
  }
}

/** Reference shots go along with their owner's recording alone. */
function settingsNote({ parts, samples, rawSensorId, shiftS, owners }: RawExport): object {
  const own = parts.flatMap(({ sensorId, playerId }) => {
    const setup = samples.setups[sensorId] as
      | { readonly calibratedAtS?: number | null; readonly spinReferences?: unknown }
      | undefined;
    if (!setup) return [];
    const { calibratedAtS, spinReferences } = setup;
    const isOwn = playerId !== null && owners.get(sensorId) === playerId;
    const moved = typeof calibratedAtS === 'number' ? calibratedAtS - shiftS : null;
    return [[rawSensorId(sensorId), { ...setup, calibratedAtS: moved, spinReferences: isOwn ? spinReferences : [] }]];
  });
  return { ...samples.settingsNote, setups: Object.fromEntries(own) };
}

/** Without its name, which a person wrote. */
function markNote(mark: Mark, { parts, shiftS, rawSensorId }: RawExport): object {
  const { sensor_id: sensorId } = mark;
  const isOwn = sensorId !== null && parts.some((part) => part.sensorId === sensorId);
  return {
    atS: mark.at_s - shiftS,
    uncertaintyS: mark.uncertainty_s,
    clock: mark.clock,
    origin: mark.origin,
    name: '',
    ...(isOwn && {
      sensorId: rawSensorId(sensorId),
      streamIndex: mark.stream_index,
      sensorTimeS: mark.sensor_time_s,
    }),
  };
}

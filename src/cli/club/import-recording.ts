import path from 'node:path';
import type { SensorSetup } from '../../live/sensor-setup.ts';
import { placeOf } from '../../live/shot-tracker.ts';
import { decodeSensorDescription } from '../../protocol/sensor-description.ts';
import { resultParameters, sensorSetup } from '../../server/analysis/sensor-setups.ts';
import { readSettingsNote } from '../../server/analysis/settings-note.ts';
import {
  type AnalysedRecording,
  analyseRecording,
  readRecordingStart,
} from '../../server/reanalysis/analyse-recording.ts';
import { spinReferenceFile } from '../../server/spin-references.ts';
import type { ClubStore } from '../../sessions/database/club-store.ts';
import type { ImportedMark } from '../../sessions/database/import-session.ts';
import { markOrigins } from '../../sessions/database/tables.ts';
import type { RecordingNote } from '../../sessions/recording/recording-reader.ts';
import { JsonSensorCalibrations } from '../../sessions/sensor-calibrations.ts';
import { UnreadableRecordingError } from '../../sessions/unreadable.ts';
import { JsonWristCalibrationStore } from '../../sessions/wrist-calibration/json-wrist-calibration-store.ts';
import type { FoundSession, ImportOptions } from './import-files.ts';

/**
 * Leads a .mcap recording through the live path, with what the data folder knows of its sensors; what it does not know may stand
 * in the recording.
 *
 * @throws UnreadableRecordingError when nothing in it can be read.
 */
export async function findInRecording(
  store: ClubStore,
  dataFolder: string,
  file: string,
  { settings: usual, saidSettings, stderr }: ImportOptions,
): Promise<FoundSession> {
  const { sensorIds, notes } = await readRecordingStart(file);
  const { setups: noted = {}, ...notedSettings } = readSettingsNote(
    notes.findLast(({ kind }) => kind === 'settings')?.document,
  );
  const settings = { ...usual, ...notedSettings, ...saidSettings };
  const sources = {
    calibrations: new JsonSensorCalibrations(dataFolder),
    references: new JsonWristCalibrationStore(path.join(dataFolder, spinReferenceFile)),
    players: store.players,
    onTrouble: (sensorId: string, why: string) => stderr.write(`warning: sensor ${sensorId}: ${why}\n`),
  };
  const setups: Record<string, SensorSetup> = {};
  for (const sensorId of sensorIds) {
    const own = await sensorSetup(sensorId, sources);
    const isKnown = own.correction !== null || own.spinReferences.length > 0;
    setups[sensorId] = isKnown ? own : (noted[sensorId] ?? own);
  }
  const analysed = await analyseRecording({ file, settings, setups });
  refuseUnreadable(file, analysed);
  const { shots, firstS, lastS, sensors, about, damage, faults } = analysed;
  return {
    shots,
    settings,
    parameters: resultParameters(settings, Object.entries(setups)),
    startedS: firstS ?? 0,
    endedS: lastS ?? 0,
    startFrom: 'recording',
    simulated: about.simulated === 'true',
    sensors: Object.entries(sensors).map(([id, description]) => ({
      id,
      description,
      placement: placementIn(description),
    })),
    marks: analysed.notes.flatMap((note) => readMark(note, sensors)),
    warnings: [...faults.map((fault) => `a part could not be analysed: ${fault}`), ...damage.slice(0, 5)],
  };
}

function refuseUnreadable(
  file: string,
  { notificationCount, sampleCount, sensors, faults, damage }: AnalysedRecording,
): void {
  if (sampleCount > 0) return;
  const remedy = 'Name a recording that Seamwise wrote, or copy this one again.';
  if (notificationCount > 0 && Object.keys(sensors).length === 0) {
    throw new UnreadableRecordingError('recording-no-description', {
      where: file,
      expected: 'a description of the sensor before its notifications',
      came: `${notificationCount} notifications without one`,
      remedy,
    });
  }
  throw new UnreadableRecordingError('recording-no-notification', {
    where: file,
    expected: 'a recording with at least one readable notification of a sensor',
    came: faults[0] ?? damage[0] ?? 'none',
    remedy,
  });
}

function placementIn(description: string): string {
  try {
    const { placement } = decodeSensorDescription(Buffer.from(description, 'hex'));
    return placeOf(placement) ? placement : 'unspecified';
  } catch {
    return 'unspecified';
  }
}

/** A mark as the service wrote it, or one that another program wrote and that makes sense. */
function readMark({ kind, document }: RecordingNote, sensors: AnalysedRecording['sensors']): ImportedMark[] {
  if (kind !== 'mark' || typeof document !== 'object' || document === null) return [];
  const { atS, uncertaintyS, clock, origin, name, sensorId, streamIndex, sensorTimeS } = document as Record<
    string,
    unknown
  >;
  const isWithin = (value: unknown, most: number): value is number =>
    typeof value === 'number' && value >= 0 && value <= most;
  const from = markOrigins.find((each) => each === origin);
  if (!isWithin(atS, 1e11) || !isWithin(uncertaintyS, 3600) || from === undefined) return [];
  const onSensor = typeof sensorId === 'string' && sensorId in sensors;
  return [
    {
      at_s: atS,
      uncertainty_s: uncertaintyS,
      clock: clock === 'sensor' ? 'sensor' : 'host',
      origin: from,
      sensor_id: onSensor ? sensorId : null,
      stream_index: onSensor && isWithin(streamIndex, 1e6) ? Math.floor(streamIndex) : null,
      sensor_time_s: onSensor && isWithin(sensorTimeS, 1e11) ? sensorTimeS : null,
      name: typeof name === 'string' ? name.replaceAll(/\p{Cc}/gu, ' ').slice(0, 120) : '',
    },
  ];
}

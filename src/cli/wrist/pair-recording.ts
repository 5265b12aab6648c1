import { resolveParams } from '../../foundation/parameters.ts';
import { SensorChain } from '../../live/notification-chain.ts';
import { placeOf } from '../../live/shot-tracker.ts';
import { decodeSensorDescription } from '../../protocol/sensor-description.ts';
import { RecordingReader } from '../../sessions/recording/recording-reader.ts';
import { openRecordingFile } from '../../sessions/recording-file.ts';
import { type HeardShot, matchShots } from '../../shots/merge/match-shots.ts';
import { mergeParams } from '../../shots/merge/merge-params.ts';
import { type ArmMount, defaultBallSettings, type Shot } from '../../shots/shot.ts';
import { UsageError } from '../usage-error.ts';

/** One shot that a ball and an arm sensor both saw. */
export interface PairedShot {
  readonly ballSensorId: string;
  readonly ball: Shot;
  readonly wrist: Shot;
}

export interface PairedRecording {
  readonly mount: ArmMount;
  readonly pairs: readonly PairedShot[];
  /** Shots that only one of the sensors saw. */
  readonly alone: { readonly ball: number; readonly wrist: number };
}

interface Heard {
  readonly sensorId: string;
  readonly place: 'ball' | 'wrist';
  readonly mount: ArmMount | null;
  readonly chain: SensorChain;
  readonly shots: Shot[];
}

/**
 * Analyses the ball and the arm sensor of one recording and pairs their shots by release.
 *
 * @param mount where on the arm the sensor was, where it does not say so itself.
 * @throws UnreadableRecordingError when the recording cannot be read, UsageError when it holds no such two sensors.
 */
export async function pairRecording(path: string, mount: ArmMount | null): Promise<PairedRecording> {
  const file = await openRecordingFile(path);
  try {
    const reader = await RecordingReader.open(file);
    const heard = new Map<string, Heard>();
    const describe = (sensorId: string, bytes: Uint8Array): void => {
      if (!heard.has(sensorId)) heard.set(sensorId, openSensor(sensorId, bytes, mount));
    };
    for (const [sensorId, bytes] of reader.sensors) if (bytes !== null) describe(sensorId, bytes);
    for await (const entry of reader.entries(() => {})) {
      if (entry.kind === 'description') describe(entry.sensorId, entry.bytes);
      else {
        const sensor = heard.get(entry.sensorId);
        if (sensor) keepShots(sensor, sensor.chain.push(entry.bytes, entry.hostTimeS));
      }
    }
    for (const sensor of heard.values()) keepShots(sensor, sensor.chain.finish());
    return pair(path, [...heard.values()], mount);
  } finally {
    await file.handle.close();
  }
}

function openSensor(sensorId: string, bytes: Uint8Array, mount: ArmMount | null): Heard {
  const description = decodeSensorDescription(bytes);
  const stated = placeOf(description.placement) ?? { place: 'ball' as const, mount: null };
  const chain = new SensorChain({
    sensorName: description.sensorId,
    description,
    ballSettings: defaultBallSettings,
    wristSettings: { mount: stated.mount ?? mount },
    place: stated.place,
  });
  return { sensorId, place: stated.place, mount: stated.mount ?? mount, chain, shots: [] };
}

function keepShots(sensor: Heard, events: ReturnType<SensorChain['push']>): void {
  for (const event of events) if (event.kind === 'shot' && event.shot.stage === 'final') sensor.shots.push(event.shot);
}

function pair(path: string, sensors: readonly Heard[], mount: ArmMount | null): PairedRecording {
  const balls = sensors.filter((sensor) => sensor.place === 'ball');
  const wrists = sensors.filter((sensor) => sensor.place === 'wrist');
  const [ball] = balls;
  const [wrist] = wrists;
  if (!ball || !wrist || balls.length > 1 || wrists.length > 1) {
    throw new UsageError(
      `${path}: expected a recording of one sensor in the ball and one on the arm, came ${balls.length} in a ball and ${wrists.length} on an arm`,
    );
  }
  const worn = wrist.mount ?? mount;
  if (worn === null) {
    throw new UsageError(`${path}: the sensor on the arm does not say where it was: expected --mount`);
  }
  const heardOf = (sensor: Heard): HeardShot[] => {
    const clock = sensor.chain.summary().clock.host;
    if (clock === null) throw new UsageError(`${path}: sensor ${sensor.sensorId} has no host times to pair shots by`);
    return sensor.shots.map((shot) => ({ sensorId: sensor.sensorId, shot, clock }));
  };
  const matched = matchShots(resolveParams(mergeParams), heardOf(ball), heardOf(wrist));
  return {
    mount: worn,
    pairs: matched.map((match) => ({
      ballSensorId: ball.sensorId,
      ball: ball.shots[match.ball]!,
      wrist: wrist.shots[match.wrist]!,
    })),
    alone: { ball: ball.shots.length - matched.length, wrist: wrist.shots.length - matched.length },
  };
}

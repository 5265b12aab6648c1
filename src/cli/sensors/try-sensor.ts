import { SensorChain } from '../../live/notification-chain.ts';
import { decodeSensorDescription, sensorTraits } from '../../protocol/sensor-description.ts';
import { SensorCheck } from '../../signal/sensor-check.ts';
import type { Surroundings } from '../surroundings.ts';
import { deviceName, notReached, RadioDesk } from './radio-desk.ts';
import { type TriedSensor, triedJson, triedText } from './tried-text.ts';
import { WrongSensorError } from './wrong-sensor-error.ts';

export interface TryWords {
  readonly seconds: number;
  readonly profile?: readonly string[];
  readonly json?: true;
}

/**
 * Streams from a sensor for a while and says what its readings are like.
 *
 * @throws WrongSensorError when what is measured with it would be wrong.
 */
export async function trySensor(id: string, words: TryWords, surroundings: Surroundings): Promise<void> {
  const desk = await RadioDesk.open(surroundings, words);
  let tried: TriedSensor;
  try {
    tried = await streamFor(id, words, desk, surroundings);
  } finally {
    await desk.close();
  }
  surroundings.stdout.write(words.json ? triedJson(tried) : triedText(tried, surroundings.widthColumns));
  const wrong = tried.report.findings.filter(({ weight }) => weight === 'wrong');
  if (wrong.length > 0) throw new WrongSensorError(`something is wrong with ${tried.name}: ${wrong[0]!.message}`);
}

async function streamFor(
  id: string,
  { seconds }: TryWords,
  desk: RadioDesk,
  { stderr }: Surroundings,
): Promise<TriedSensor> {
  const device = await desk.find(id);
  const name = deviceName(device);
  if (device.kind === null) throw notReached(device, new Error('no device profile fits it'));
  const session = await desk.connect(device);
  try {
    const prepared = await device.kind.prepare(session);
    const description = decodeSensorDescription(prepared.description);
    const chain = new SensorChain({ sensorName: prepared.sensorId, description, ballSettings: null });
    const check = new SensorCheck(sensorTraits(description));
    let longestGapS = 0;
    let bytes = 0;
    const follow = (events: ReturnType<SensorChain['push']>): void => {
      for (const event of events) {
        if (event.kind === 'block') check.push(event.block);
        else if (event.kind === 'gap') longestGapS = Math.max(longestGapS, event.endS - event.startS);
      }
    };
    stderr.write(
      `${name}: leave it still for ${(seconds / 3).toFixed(0)} s, then turn it slowly, each side up once.\n`,
    );
    await prepared.start((packet, hostTimeS) => {
      bytes += packet.length;
      follow(chain.push(packet, hostTimeS));
    });
    const ended = await Promise.race([desk.wait(seconds).then(() => null), session.ended]);
    follow(chain.finish());
    const summary = chain.summary();
    const { clock } = summary;
    const report = check.finish({
      ...summary,
      sampleRateStandardErrorHz: clock.sampleRateStandardErrorHz,
      longestGapS,
      clockDriftPpm: clock.host?.driftPpm ?? null,
      clockDriftStandardErrorPpm: clock.host?.driftStandardErrorPpm ?? null,
    });
    return {
      name,
      profile: device.kind.name,
      signalDbm: device.newestDbm,
      packets: summary.packets,
      bytes,
      endedEarly: ended,
      description,
      report,
    };
  } catch (error) {
    throw notReached(device, error);
  } finally {
    await session.disconnect();
  }
}

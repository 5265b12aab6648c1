import type { Command } from 'commander';
import { numberWithin, wholeNumberWithin } from '../option-values.ts';
import type { Surroundings } from '../surroundings.ts';

interface CommonWords {
  readonly profile?: readonly string[];
  readonly json?: true;
}

const idMeans = 'address, name or sensor id, as "seamwise sensors" lists them';

/** Adds `sensors` with its subcommands to the program. What they need is loaded when they run. */
export function addSensorsCommand(program: Command, surroundings: Surroundings): void {
  const sensors = program
    .command('sensors')
    .summary('look for sensors over Bluetooth, try, calibrate and test them')
    .description(
      'Without another word, lists what is in the air with signal strength and the profile that fits. Ends with 0 where ' +
        'all is well, 3 without Bluetooth, 1 where a sensor was not found or not reached, 4 where something is wrong with it.',
    );
  withCommon(
    sensors
      .command('list', { isDefault: true })
      .summary('list what is in the air (the default)')
      .option('--seconds <s>', 'how long to listen', numberWithin(1, 120, 's', '5'), 5),
  ).action(async (words: CommonWords & { readonly seconds: number }) => {
    const { listSensors } = await import('./list-sensors.ts');
    await listSensors(words, surroundings);
  });
  withCommon(
    sensors
      .command('try')
      .summary('stream from a sensor for a while and say what its readings are like')
      .argument('<id>', idMeans)
      .option('--seconds <s>', 'how long to stream', numberWithin(2, 600, 's', '20'), 20),
  ).action(async (id: string, words: CommonWords & { readonly seconds: number }) => {
    const { trySensor } = await import('./try-sensor.ts');
    await trySensor(id, words, surroundings);
  });
  withCommon(
    sensors
      .command('calibrate')
      .summary('calibrate a sensor by six positions and known turns')
      .argument('<id>', idMeans)
      .option('--turns <count>', 'whole turns at a time', wholeNumberWithin(1, 10), 1)
      .option('--minutes <count>', 'give up after so long', numberWithin(1, 60, 'minutes', '15'), 15),
  ).action(async (id: string, words: CommonWords & { readonly turns: number; readonly minutes: number }) => {
    const { calibrateSensor } = await import('./calibrate-sensor.ts');
    await calibrateSensor(id, words, surroundings);
  });
  withCommon(
    sensors
      .command('conform')
      .summary('test clause by clause whether a sensor speaks the protocol of firmware-protocol/')
      .argument('<id>', idMeans),
  ).action(async (id: string, words: CommonWords) => {
    const { conformSensor } = await import('./conform-sensor.ts');
    await conformSensor(id, words, surroundings);
  });
}

function withCommon(command: Command): Command {
  return command
    .option('--profile <file>', 'further device profile, before all others; may be given several times', collect)
    .option('--json', 'print one JSON object instead of text');
}

function collect(file: string, before: readonly string[] = []): readonly string[] {
  return [...before, file];
}

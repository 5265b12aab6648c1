import { type Command, Option } from 'commander';
import { pino } from 'pino';
import type { WantedSensors } from '../devices/sensor-provider.ts';
import { systemClock } from '../devices/system-clock.ts';
import { addBallOptions, type BallWords, toBallSettings } from './ball-options.ts';
import { type SimulateWord, type SourceWord, simulateWords, sourceWords } from './choose-source.ts';
import { sensorIdOf, wholeNumberWithin } from './option-values.ts';
import type { Surroundings } from './surroundings.ts';
import { readVersion } from './version.ts';

interface ServeWords extends BallWords {
  readonly port?: number;
  readonly seed: number;
  readonly source: SourceWord;
  readonly simulate?: SimulateWord;
  readonly sensor?: readonly string[];
}

/** Adds `serve` to the program. */
export function addServeCommand(program: Command, surroundings: Surroundings): void {
  const command = program
    .command('serve')
    .summary('run the service and its page')
    .description(
      'Runs the service and its page on this machine alone. With no sensor, a simulated shooter plays. ' +
        'Ctrl-C ends it. SEAMWISE_PORT and SEAMWISE_DATA set port and data folder for good, SEAMWISE_SENSORS the ids of ' +
        'sensors, and SEAMWISE_NOBLE another package for the adapter.',
    )
    .option('--port <number>', 'TCP port of the page; 0 takes a free one', wholeNumberWithin(0, 65_535))
    .addOption(
      new Option('--source <where>', 'where the notifications come from')
        .choices(sourceWords)
        .default('auto', 'Bluetooth where a sensor is there, else the simulated shooter'),
    )
    .addOption(
      new Option(
        '--simulate <what>',
        'let the simulated shooter play at once, with a sensor in the ball or with both, ball and arm',
      ).choices(simulateWords),
    )
    .option('--sensor <id...>', 'ids of the sensors that are wanted, as "sensors" lists them', sensorIdOf)
    .option('--seed <number>', 'seed of the simulated shooter', wholeNumberWithin(0, 4_294_967_295), 1);
  addBallOptions(command).action(async (words: ServeWords) => {
    const config = surroundings.readConfig();
    const logger = pino({ level: 'warn', base: null }, surroundings.stderr);
    const wantedSensors: WantedSensors = words.sensor ?? config.sensors ?? 'any';
    const { chooseSource } = await import('./choose-source.ts');
    const { source: word, simulate, seed } = words;
    const wish = { word, simulate, seed, wantedSensors, clock: systemClock, logger };
    const { bluetoothModule: moduleName } = config;
    const { source, says } = await chooseSource(moduleName === undefined ? wish : { ...wish, moduleName });
    // The service brings a web server along, which no other command needs.
    const { startService } = await import('../server/service.ts');
    const service = await startService({
      version: readVersion(),
      port: words.port ?? config.port,
      dataFolder: config.dataFolder,
      pageFolder: config.pageFolder,
      settings: toBallSettings(words),
      seed: words.seed,
      wantedSensors,
      ...(source === null ? {} : { source }),
      logger,
    });
    surroundings.stdout.write(`Seamwise: ${service.url}\n${says} Ctrl-C ends the service.\n`);
    await surroundings.untilEndIsAsked();
    await service.close();
  });
}

import { type Command, Option } from 'commander';
import { pino } from 'pino';
import type { WantedSensors } from '../devices/sensor-provider.ts';
import { systemClock } from '../devices/system-clock.ts';
import { addBallOptions, type BallWords, toBallSettings } from './ball-options.ts';
import { type SimulateWord, type SourceWord, simulateWords, sourceWords } from './choose-source.ts';
import { sensorIdOf, wholeNumberWithin } from './option-values.ts';
import type { Surroundings } from './surroundings.ts';
import { UsageError } from './usage-error.ts';
import { readVersion } from './version.ts';

interface ServeWords extends BallWords {
  readonly port?: number;
  readonly seed: number;
  readonly source: SourceWord;
  readonly simulate?: SimulateWord;
  readonly sensor?: readonly string[];
  readonly lan?: boolean;
  readonly tlsCert?: string;
  readonly tlsKey?: string;
  readonly name?: readonly string[];
  readonly database?: string;
  readonly club?: string;
}

/** Adds `serve` to the program. */
export function addServeCommand(program: Command, surroundings: Surroundings): void {
  const command = program
    .command('serve')
    .summary('run the service and its page')
    .description(
      'Runs the service and its page, on this machine alone unless --lan is given. With no sensor, a simulated shooter plays. ' +
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
    .option('--lan', 'let devices of the same network in that were paired with a code from this machine')
    .option('--tls-cert <file>', 'certificate in PEM; with it and its key the page is served by https')
    .option('--tls-key <file>', 'private key of the certificate, in PEM')
    .option('--name <host...>', 'further names under which other machines reach this one')
    .option(
      '--database <address>',
      'run as the hub of several courts, over this PostgreSQL database (postgres://…); SEAMWISE_DATABASE sets it for good',
    )
    .option('--club <id>', 'which club of the database, where it holds several')
    .option('--seed <number>', 'seed of the simulated shooter', wholeNumberWithin(0, 4_294_967_295), 1);
  addBallOptions(command).action(async (words: ServeWords) => {
    const config = surroundings.readConfig();
    const { tlsCert, tlsKey, lan = false } = words;
    if ((tlsCert === undefined) !== (tlsKey === undefined)) {
      throw new UsageError('--tls-cert and --tls-key belong together: name both or neither');
    }
    const tls = tlsCert === undefined || tlsKey === undefined ? {} : { tls: { certFile: tlsCert, keyFile: tlsKey } };
    const logger = pino({ level: 'warn', base: null }, surroundings.stderr);
    const names = (words.name ?? []).map((name) => name.toLowerCase());
    const address = words.database ?? config.database;
    if (address !== undefined) {
      const { startHub } = await import('../server/hub/start-hub.ts');
      const service = await startHub({
        ...{ version: readVersion(), port: words.port ?? config.port, pageFolder: config.pageFolder, logger },
        ...{ dataFolder: config.dataFolder, settings: toBallSettings(words), lan, names, ...tls },
        database: { address, ...(words.club !== undefined && { clubId: words.club }) },
      });
      const others = lan ? otherDevices(service.lanUrl, service.url) : '';
      surroundings.stdout.write(
        `Seamwise: ${service.url}\n${others}The hub of several courts. Ctrl-C ends the service.\n`,
      );
      await surroundings.untilEndIsAsked();
      await service.close();
      return;
    }
    const wantedSensors: WantedSensors = words.sensor ?? config.sensors ?? 'any';
    const { chooseSource } = await import('./choose-source.ts');
    const { source: word, simulate, seed } = words;
    const wish = { word, simulate, seed, wantedSensors, clock: systemClock, logger };
    const { bluetoothModule: moduleName } = config;
    const { source, says } = await chooseSource(moduleName === undefined ? wish : { ...wish, moduleName });
    // The service brings a web server along, which no other command needs.
    const { startService } = await import('../server/service.ts');
    const { readHubAccess } = await import('../server/hub/hub-access-file.ts');
    const hub = readHubAccess(config.dataFolder);
    const service = await startService({
      version: readVersion(),
      port: words.port ?? config.port,
      dataFolder: config.dataFolder,
      pageFolder: config.pageFolder,
      settings: toBallSettings(words),
      seed: words.seed,
      wantedSensors,
      lan,
      names,
      ...(hub === null ? {} : { hub }),
      importThread: new URL(`./club/import-thread${import.meta.url.slice(-3)}`, import.meta.url),
      ...tls,
      ...(source === null ? {} : { source }),
      logger,
    });
    const { url, lanUrl } = service;
    const others = lan ? otherDevices(lanUrl, url) : '';
    surroundings.stdout.write(`Seamwise: ${url}\n${others}${says} Ctrl-C ends the service.\n`);
    await surroundings.untilEndIsAsked();
    await service.close();
  });
}

function otherDevices(lanUrl: string | null, url: string): string {
  return lanUrl === null
    ? 'No network was found by which other devices could reach this machine.\n'
    : `Other devices: ${lanUrl}, after they were paired with a code from ${url}\n`;
}

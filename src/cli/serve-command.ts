import type { Command } from 'commander';
import { pino } from 'pino';
import { addBallOptions, type BallWords, toBallSettings } from './ball-options.ts';
import { wholeNumberWithin } from './option-values.ts';
import type { Surroundings } from './surroundings.ts';
import { readVersion } from './version.ts';

interface ServeWords extends BallWords {
  readonly port?: number;
  readonly seed: number;
}

/** Adds `serve` to the program. */
export function addServeCommand(program: Command, surroundings: Surroundings): void {
  const command = program
    .command('serve')
    .summary('run the service and its page')
    .description(
      'Runs the service and its page on this machine alone. With no sensor, a simulated shooter plays. ' +
        'Ctrl-C ends it. SEAMWISE_PORT and SEAMWISE_DATA set port and data folder for good.',
    )
    .option('--port <number>', 'TCP port of the page; 0 takes a free one', wholeNumberWithin(0, 65_535))
    .option('--seed <number>', 'seed of the simulated shooter', wholeNumberWithin(0, 4_294_967_295), 1);
  addBallOptions(command).action(async (words: ServeWords) => {
    const config = surroundings.readConfig();
    // The service brings a web server along, which no other command needs.
    const { startService } = await import('../server/service.ts');
    const service = await startService({
      version: readVersion(),
      port: words.port ?? config.port,
      dataFolder: config.dataFolder,
      pageFolder: config.pageFolder,
      settings: toBallSettings(words),
      seed: words.seed,
      logger: pino({ level: 'warn', base: null }, surroundings.stderr),
    });
    surroundings.stdout.write(`Seamwise: ${service.url}\nThe shooter is simulated. Ctrl-C ends the service.\n`);
    await surroundings.untilEndIsAsked();
    await service.close();
  });
}

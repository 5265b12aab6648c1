import process from 'node:process';
import { readConfig } from './config.ts';
import { runSeamwise } from './program.ts';

// A reader that has seen enough (`| head`) is no failure.
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  if (error.code !== 'EPIPE') throw error;
  process.exit();
});

process.exitCode = await runSeamwise(process.argv.slice(2), {
  stdout: process.stdout,
  stderr: process.stderr,
  widthColumns: process.stdout.columns ?? 100,
  readConfig,
  untilEndIsAsked: () =>
    new Promise((resolve) => {
      for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP'] as const) process.once(signal, () => resolve());
    }),
});

import { Writable } from 'node:stream';
import type { Config } from '../../src/cli/config.ts';
import { runSeamwise } from '../../src/cli/program.ts';
import type { Surroundings } from '../../src/cli/surroundings.ts';

export interface CliRun {
  readonly code: number;
  readonly stdout: string;
  readonly stderr: string;
}

const noConfig = (): never => {
  throw new Error('this command needs no configuration');
};

export interface CliSurroundings extends Pick<Surroundings, 'openRadio' | 'clock'> {
  readonly widthColumns?: number;
  readonly readConfig?: () => Config;
  /** Called with what stdout holds by then; the command ends when it is through. */
  readonly untilEndIsAsked?: (stdout: string) => Promise<void>;
}

/** Runs one command in this process and reads along. */
export async function runCli(words: readonly string[], surroundings: CliSurroundings = {}): Promise<CliRun> {
  const { widthColumns = 100, readConfig = noConfig, untilEndIsAsked = () => Promise.resolve() } = surroundings;
  const { openRadio, clock } = surroundings;
  const stdout = new TextSink();
  const stderr = new TextSink();
  const code = await runSeamwise(words, {
    stdout,
    stderr,
    widthColumns,
    readConfig,
    untilEndIsAsked: () => untilEndIsAsked(stdout.text),
    ...(openRadio ? { openRadio } : {}),
    ...(clock ? { clock } : {}),
  });
  return { code, stdout: stdout.text, stderr: stderr.text };
}

class TextSink extends Writable {
  text = '';

  override _write(chunk: Buffer, _encoding: string, done: () => void): void {
    this.text += chunk.toString();
    done();
  }
}

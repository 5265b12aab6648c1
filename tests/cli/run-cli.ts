import { Writable } from 'node:stream';
import { runSeamwise } from '../../src/cli/program.ts';

export interface CliRun {
  readonly code: number;
  readonly stdout: string;
  readonly stderr: string;
}

/** Runs one command in this process and reads along. */
export async function runCli(words: readonly string[], widthColumns = 100): Promise<CliRun> {
  const stdout = new TextSink();
  const stderr = new TextSink();
  const code = await runSeamwise(words, {
    stdout,
    stderr,
    widthColumns,
    readConfig: () => {
      throw new Error('this command needs no configuration');
    },
    untilEndIsAsked: () => Promise.resolve(),
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

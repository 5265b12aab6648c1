import { type ChildProcess, fork } from 'node:child_process';
import { once } from 'node:events';
import { fileURLToPath } from 'node:url';
import { freePort } from './free-port.ts';

/** @returns a script of this project in a process of its own. */
export function forked(script: URL, words: readonly string[]): ChildProcess {
  return fork(fileURLToPath(script), [...words], { execArgv: ['--import', 'tsx'] });
}

const hubScript = new URL('./hub-process.ts', import.meta.url);

/** One process of a hub. */
export class HubProcess {
  child: ChildProcess;
  url = '';
  readonly #words: readonly string[];

  private constructor(words: readonly string[]) {
    this.#words = words;
    this.child = forked(hubScript, words);
  }

  static async start(dataFolder: string, address: string): Promise<HubProcess> {
    const hub = new HubProcess([dataFolder, address, String(await freePort())]);
    await hub.#ready();
    return hub;
  }

  get port(): number {
    return Number(new URL(this.url).port);
  }

  async kill(): Promise<void> {
    const gone = once(this.child, 'exit');
    this.child.kill('SIGKILL');
    await gone;
  }

  async startAgain(): Promise<void> {
    this.child = forked(hubScript, this.#words);
    await this.#ready();
  }

  async #ready(): Promise<void> {
    this.url = await new Promise<string>((resolve, reject) => {
      this.child.on('exit', (code) => reject(new Error(`a process of the hub ended with ${code}`)));
      this.child.on('message', (message: { url?: string }) => message.url !== undefined && resolve(message.url));
    });
  }
}

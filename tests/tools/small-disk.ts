import { execFileSync } from 'node:child_process';
import { closeSync, mkdirSync, openSync, rmSync, writeSync } from 'node:fs';
import path from 'node:path';

/** A file system in memory of a few megabytes, to be filled and to be made read-only. Linux, as root. */
export class SmallDisk {
  readonly folder: string;

  private constructor(folder: string) {
    this.folder = folder;
  }

  /** @returns the disk, or why there can be none. */
  static mount(folder: string, megabytes: number): SmallDisk | { readonly missing: string } {
    if (process.platform !== 'linux') return { missing: 'no Linux' };
    if (process.getuid?.() !== 0) return { missing: 'not root' };
    mkdirSync(folder, { recursive: true });
    try {
      mount('-t', 'tmpfs', '-o', `size=${megabytes}m,mode=700`, 'tmpfs', folder);
    } catch (error) {
      return {
        missing: `no right to mount (${error instanceof Error ? error.message.split('\n')[0] : String(error)})`,
      };
    }
    return new SmallDisk(folder);
  }

  /** Takes all the room that is left. */
  fill(): void {
    const descriptor = openSync(path.join(this.folder, 'ballast'), 'a');
    try {
      for (let block = 65_536; block >= 1; block = Math.floor(block / 16)) {
        const bytes = Buffer.alloc(block);
        try {
          for (;;) if (writeSync(descriptor, bytes) < block) break;
        } catch (error) {
          if ((error as NodeJS.ErrnoException).code !== 'ENOSPC') throw error;
        }
      }
    } finally {
      closeSync(descriptor);
    }
  }

  free(): void {
    rmSync(path.join(this.folder, 'ballast'), { force: true });
  }

  makeReadOnly(): void {
    mount('-o', 'remount,ro', this.folder);
  }

  makeWritable(): void {
    mount('-o', 'remount,rw', this.folder);
  }

  unmount(): void {
    run(system.unmount, '--lazy', this.folder);
  }
}

const system = { mount: 'mount', unmount: 'umount' } as const;

function mount(...words: string[]): void {
  run(system.mount, ...words);
}

function run(program: string, ...words: string[]): void {
  execFileSync(program, words, { stdio: 'pipe' });
}

import os from 'node:os';

/** What a figure depends on besides the code; names no host. */
export interface Machine {
  readonly node: string;
  readonly platform: string;
  readonly cpu: string;
  readonly cores: number;
}

export function describeMachine(): Machine {
  const cpus = os.cpus();
  return {
    node: process.versions.node,
    platform: `${process.platform}-${process.arch}`,
    cpu: cpus[0]?.model.trim() ?? 'unknown',
    cores: cpus.length,
  };
}

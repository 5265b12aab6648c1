// The thread of re-analysis, with a look at its heap after every recording: a line of JSON goes into the file that HEAP_LOG names.
import { appendFileSync } from 'node:fs';
import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';
import { threadId } from 'node:worker_threads';
import { register } from 'tsx/esm/api';

register();
const { default: analyse } = await import('../../src/server/reanalysis/reanalysis-thread.ts');
setFlagsFromString('--expose-gc');
const collect = runInNewContext('gc');
let hours = 0;

/** @param {import('../../src/server/reanalysis/analyse-recording.ts').RecordingTask} task */
export default async function measured(task) {
  const result = await analyse(task);
  hours += ((result.lastS ?? 0) - (result.firstS ?? 0)) / 3600;
  // Twice: the first finds what weak references and finalisers held.
  collect();
  collect();
  const line = { threadId, hours, heapBytes: process.memoryUsage().heapUsed };
  appendFileSync(process.env.HEAP_LOG ?? '', `${JSON.stringify(line)}\n`);
  return result;
}

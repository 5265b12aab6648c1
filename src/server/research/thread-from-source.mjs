// A thread in development and tests: Node of this age does not read TypeScript in a worker by itself.
import { workerData } from 'node:worker_threads';
import { register } from 'tsx/esm/api';

register();
await import(workerData.entry);

// The thread in development and tests: Node of this age does not read TypeScript in a worker by itself.
import { register } from 'tsx/esm/api';

register();
await import('./import-thread.ts');

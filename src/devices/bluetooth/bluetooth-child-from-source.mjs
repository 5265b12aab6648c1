// The process in development and tests: Node of this age does not read TypeScript by itself.
import { register } from 'tsx/esm/api';

register();
await import('./bluetooth-child.ts');

import { fileURLToPath } from 'node:url';

/** Absolute path of the project's folder, without a slash at its end. */
export const projectRoot: string = fileURLToPath(new URL('../..', import.meta.url)).replace(/[\\/]$/, '');

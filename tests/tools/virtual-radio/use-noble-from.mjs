// Takes noble from the folder that stands behind this file's name: one whose compiled part fits the Node that runs.
import Module from 'node:module';

const folder = new URL(import.meta.url).searchParams.get('folder');
/** @type {{ _load: (this: unknown, request: string, ...more: unknown[]) => unknown }} */
const loader = /** @type {never} */ (Module);
const load = loader._load;
loader._load = function (request, ...more) {
  return load.call(this, request === '@abandonware/noble' && folder ? folder : request, ...more);
};

// Runs in the child before anything else and puts its noble over the controller whose address stands behind this
// file's name. Plain JavaScript, so that it also runs in front of the compiled program.
import { register } from 'tsx/esm/api';

const words = new URL(import.meta.url).searchParams;
register();
const { plugInRemote } = await import('./remote-transport.ts');
plugInRemote(Object.fromEntries(words));

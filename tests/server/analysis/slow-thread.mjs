// A thread that loads for some seconds.
Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, 4000);
await import('./odd-thread.mjs');

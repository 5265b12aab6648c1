// Entry of every npm script. Kept to syntax that old Node versions can read, so that they get the sentence below
// instead of a syntax error.
const leastMajor = 20;
const leastMinor = 19;
const [major = 0, minor = 0] = process.versions.node.split('.').map(Number);

if (major < leastMajor || (major === leastMajor && minor < leastMinor)) {
  console.error(
    `seamwise needs Node ${leastMajor}.${leastMinor} or newer; this is ${process.versions.node} (${process.execPath}). Install a newer Node and run the same command again.`,
  );
  process.exitCode = 1;
} else {
  import('./commands.mjs').then(({ runCommand }) => runCommand(process.argv.slice(2))).catch(fail);
}

/** @param {unknown} error */
function fail(error) {
  console.error(error instanceof Error ? error.message : error);
  process.exitCode = 1;
}

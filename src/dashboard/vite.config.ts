import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { defineConfig } from 'vite';
import { readProvedRates } from './coaching/read-proved-rates.ts';
import { packedCopies } from './packed-copies.ts';

const verdicts = fileURLToPath(new URL('../../tests/proofs/coaching-verdicts.json', import.meta.url));

export default defineConfig({
  root: fileURLToPath(new URL('.', import.meta.url)),
  // How often findings are wrong is told as it was measured last, and typed nowhere.
  define: { provedRatesAtBuild: JSON.stringify(readProvedRates(readFileSync(verdicts, 'utf8'))) },
  oxc: { jsx: { runtime: 'automatic', importSource: 'preact' } },
  plugins: [packedCopies()],
  build: {
    outDir: fileURLToPath(new URL('../../dist/dashboard', import.meta.url)),
    emptyOutDir: true,
    // The service allows nothing inline, pictures included.
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    target: 'es2022',
  },
});

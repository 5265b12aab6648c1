import { describe, expect, it } from 'vitest';
import { measured } from '../../src/foundation/measured.ts';
import { madeAnalysis, madeShot, noDistance } from './made-shots.ts';
import { runCli } from './run-cli.ts';
import { analysisSchemaFile, validateAnalysis } from './validate-analysis.ts';

describe('the JSON Schema of an analysis', () => {
  it('is what "seamwise schema" prints; to renew it: npm run -s seamwise -- schema > src/cli/analysis.schema.json', async () => {
    const { code, stdout } = await runCli(['schema']);
    expect(code).toBe(0);
    expect(JSON.parse(stdout)).toEqual(analysisSchemaFile);
  });

  it('takes values, intervals, flags and reasons', () => {
    const entryAngleDeg = measured(44, 2, { interval90: [41, 48], source: 'ball', flags: ['clipped'] });
    const lost = madeShot(
      1,
      { releaseS: null, timeReasons: { release: 'gap' } },
      { speedMarginMps: noDistance, entryAngleDeg },
    );
    const document: unknown = JSON.parse(JSON.stringify(madeAnalysis([madeShot(0), lost])));
    expect(validateAnalysis(document), JSON.stringify(validateAnalysis.errors)).toBe(true);
  });

  it.each([
    ['a value that is not a number', { value: Number.NaN, standardError: 1 }],
    ['an error that is not a number', { value: 1, standardError: Number.NaN }],
    ['a value without an error', { value: 1 }],
    ['a null without a reason', { value: null }],
    ['a reason that is not on the list', { value: null, reason: 'no idea' }],
  ])('refuses %s', (_, spinRps) => {
    const analysis = madeAnalysis([madeShot(0)]);
    const document = JSON.parse(JSON.stringify(analysis));
    document.shots[0].measures.spinRps = JSON.parse(JSON.stringify(spinRps));
    expect(validateAnalysis(document)).toBe(false);
  });
});

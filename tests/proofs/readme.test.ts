import { readFileSync } from 'node:fs';
import path from 'node:path';
import { expect, it } from 'vitest';
import { projectRoot } from '../helpers/project-root.ts';
import { withBallErrors } from '../tools/error-table.ts';

it('tells in the README the errors that the proof has measured', () => {
  const readme = readFileSync(path.join(projectRoot, 'README.md'), 'utf8');
  expect(readme).toBe(withBallErrors(readme));
});

it('finds a README without the passage', () => {
  expect(() => withBallErrors('# Seamwise')).toThrow('README.md has no passage between');
});

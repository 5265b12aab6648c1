import { execFileSync } from 'node:child_process';
import { projectRoot } from '../helpers/project-root.ts';

export interface GitState {
  /** 40 hexadecimal digits, or `unknown` outside a repository. */
  readonly commit: string;
  /** Whether the code is exactly that commit; figures under tests/proofs do not count. */
  readonly clean: boolean;
}

export function readGitState(): GitState {
  try {
    const commit = git('rev-parse', 'HEAD').trim();
    const changed = git('status', '--porcelain', '--', '.', ':!tests/proofs/*.json', ':!README.md');
    return { commit, clean: changed.trim() === '' };
  } catch {
    return { commit: 'unknown', clean: false };
  }
}

function git(...words: string[]): string {
  return execFileSync('git', words, { cwd: projectRoot, encoding: 'utf8', stdio: ['ignore', 'pipe', 'ignore'] });
}

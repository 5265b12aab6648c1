/** Child process of `practice-pool.ts`: plays the practices it is sent and answers with what came of them. */
import { type PracticeSpec, playPractice } from './play-practice.ts';

process.on('message', (spec: PracticeSpec) => {
  process.send?.(playPractice(spec));
});
// The parent's end of the line is gone: so is the reason to be here.
process.on('disconnect', () => process.exit(0));

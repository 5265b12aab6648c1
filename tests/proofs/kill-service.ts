import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { killService } from '../helpers/kill-service.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

const kills = 50;

/**
 * The whole service is killed (SIGKILL) at random moments while four sensors stream and a client tags shots, and started again on the
 * same data folder: every final shot that a client was told of, and every tag that was confirmed, must be there, and at most half
 * a second of raw notifications missing.
 */
export async function prove({ seed, scale, say }: ProofContext): Promise<ProofFigures> {
  const dataFolder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-kill-'));
  const sum = { told: 0, lost: 0, tagged: 0, lostTags: 0, lostSynced: 0, openSessions: 0 };
  let missingS = 0;
  const count = Math.ceil(kills * scale);
  try {
    for (let index = 0; index < count; index++) {
      const drawn = seed(`kill ${index}`);
      const afterMs = 3000 + (drawn % 7000);
      const left = await killService({ dataFolder, seed: String(drawn), sensorCount: 4, afterMs });
      for (const key of Object.keys(sum) as (keyof typeof sum)[]) sum[key] += left[key];
      missingS = Math.max(missingS, left.missingS);
      say(
        `kill ${index + 1} after ${(afterMs / 1000).toFixed(1)} s: ${left.told} shots told, ${left.lost} lost, ${left.tagged} tags, ${left.lostTags} lost, ${left.missingS.toFixed(3)} s missing`,
      );
    }
  } finally {
    rmSync(dataFolder, { recursive: true, force: true });
  }
  return {
    kills: count,
    told: sum.told,
    tagged: sum.tagged,
    goals: [
      goal('told shots that are lost', sum.lost, { atMost: 0 }),
      goal('confirmed tags that are lost', sum.lostTags, { atMost: 0 }),
      goal('most raw data missing of one sensor, s', missingS, { atMost: 0.5 }),
      goal('notifications lost that a sync had seen to the disk', sum.lostSynced, { atMost: 0 }),
      goal('sessions left open', sum.openSessions, { atMost: 0 }),
      goal('shots told altogether', sum.told, { atLeast: count / 2 }),
      goal('tags confirmed altogether', sum.tagged, { atLeast: count / 2 }),
    ],
  };
}

import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { killService } from '../helpers/kill-service.ts';
import { goal, type ProofContext, type ProofFigures } from './proof.ts';

const kills = 50;

/**
 * The whole service is killed (SIGKILL) at random moments while four sensors stream, and started again on the same data
 * folder: every final shot that a client was told of must be there, and at most half a second of raw notifications missing.
 */
export async function prove({ seed, scale, say }: ProofContext): Promise<ProofFigures> {
  const dataFolder = mkdtempSync(path.join(os.tmpdir(), 'seamwise-kill-'));
  let told = 0;
  let lost = 0;
  let missingS = 0;
  let openSessions = 0;
  const count = Math.ceil(kills * scale);
  try {
    for (let index = 0; index < count; index++) {
      const drawn = seed(`kill ${index}`);
      const afterMs = 3000 + (drawn % 7000);
      const left = await killService({ dataFolder, seed: String(drawn), sensorCount: 4, afterMs });
      told += left.told;
      lost += left.lost;
      missingS = Math.max(missingS, left.missingS);
      openSessions += left.openSessions;
      say(
        `kill ${index + 1} after ${(afterMs / 1000).toFixed(1)} s: ${left.told} shots told, ${left.lost} lost, ${left.missingS.toFixed(3)} s missing`,
      );
    }
  } finally {
    rmSync(dataFolder, { recursive: true, force: true });
  }
  return {
    kills: count,
    told,
    goals: [
      goal('told shots that are lost', lost, { atMost: 0 }),
      goal('most raw data missing of one sensor, s', missingS, { atMost: 0.5 }),
      goal('sessions left open', openSessions, { atMost: 0 }),
      goal('shots told altogether', told, { atLeast: count / 2 }),
    ],
  };
}

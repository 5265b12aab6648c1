/** Child process of the proof of the coaching loop: plays the sessions that it is sent and answers with what was seen of them. */
import type { ShooterSession } from './play-shooter.ts';
import { seeSession } from './seen-session.ts';

process.on('message', (session: ShooterSession) => {
  process.send?.(seeSession(session));
});
// The parent's end of the line is gone: so is the reason to be here.
process.on('disconnect', () => process.exit(0));

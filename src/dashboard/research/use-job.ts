import { useEffect, useRef, useState } from 'preact/hooks';
import type { WireJob } from '../../server/wire/research-document.ts';
import { ask } from '../api.ts';
import { texts } from '../texts.ts';

const askAgainMs = 400;

export interface JobWatch {
  readonly job: WireJob | null;
  /** What could not be asked, as a sentence. */
  readonly trouble: string | null;
  readonly watch: (job: WireJob | null) => void;
  readonly stop: () => Promise<void>;
}

/** Follows a piece of work until it ends. */
export function useJob(onEnded: (job: WireJob) => void = () => {}): JobWatch {
  const [job, setJob] = useState<WireJob | null>(null);
  const [trouble, setTrouble] = useState<string | null>(null);
  const told = useRef<string | null>(null);
  useEffect(() => {
    if (job === null) return;
    if (job.endedS !== null) {
      if (told.current !== job.id) onEnded(job);
      told.current = job.id;
      return;
    }
    const timer = setTimeout(async () => {
      const answer = await ask<WireJob>('GET', `/api/jobs/${encodeURIComponent(job.id)}`);
      setTrouble(answer.ok ? null : texts.failed(answer.message));
      // A service that does not know it was started anew; one that does not answer is asked again.
      if (answer.ok) setJob(answer.value);
      else if (answer.status === 404)
        setJob({ ...job, state: 'failed', endedS: job.askedS, messages: [answer.message] });
      else setJob({ ...job });
    }, askAgainMs);
    return () => clearTimeout(timer);
  }, [job]);
  return {
    job,
    trouble,
    watch: setJob,
    async stop() {
      if (job === null) return;
      const answer = await ask<WireJob>('DELETE', `/api/jobs/${encodeURIComponent(job.id)}`);
      setTrouble(answer.ok ? null : texts.failed(answer.message));
    },
  };
}

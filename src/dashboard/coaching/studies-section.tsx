import { useEffect, useMemo } from 'preact/hooks';
import { ask } from '../api.ts';
import { texts } from '../texts.ts';
import { StudyCard } from './study-card.tsx';
import { StudyDesk } from './study-desk.ts';
import { StudyForm } from './study-form.tsx';

/** Studies of conditions: planned, shot in an order that was drawn, and answered. @param change rises when they have to be read anew. */
export function StudiesSection({ change }: { readonly change: number }) {
  const words = texts.coaching.studies;
  const desk = useMemo(() => new StudyDesk(ask), []);
  useEffect(() => void desk.read(), [desk, change]);
  const studies = desk.studies.value;
  return (
    <section class="panel" aria-labelledby="studies-title">
      <h3 id="studies-title">{words.title}</h3>
      <p role="alert" class="stale bench-trouble">
        {desk.trouble.value ?? ''}
      </p>
      {studies?.length === 0 && <p>{words.none}</p>}
      <StudyForm players={desk.players.value} onPlan={(plan) => desk.plan(plan)} />
      {studies?.map((study) => (
        <StudyCard
          key={study.id}
          study={study}
          players={desk.players.value}
          isChanging={desk.isChanging.value}
          result={desk.results.value.get(study.id)}
          onStart={(row) => void desk.startSet(study.id, row)}
          onResult={() => void desk.readResult(study.id)}
          onClose={() => void desk.close(study.id)}
        />
      ))}
    </section>
  );
}

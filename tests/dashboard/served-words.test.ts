import { afterEach, expect, test } from 'vitest';
import { drillLibrary } from '../../src/coaching/drills.ts';
import { inWords } from '../../src/dashboard/coaching/served-words.ts';
import { useLanguage } from '../../src/dashboard/locale/catalogue.ts';
import { drillDocument } from '../../src/server/coaching/coaching-documents.ts';
import type { WireFinding } from '../../src/server/wire/coaching-document.ts';

afterEach(() => useLanguage('en', () => undefined));

const library = drillDocument(drillLibrary[0]!);

test('what the service words stays English until a language makes its own of names and numbers', () => {
  const fault = { name: 'two-part', title: 'The ball stops on its way up.' };
  expect(inWords.faults([fault])).toEqual([fault]);
  expect(inWords.drill(library)).toEqual(library);
  useLanguage('de', (name) =>
    name === 'coaching words of the service'
      ? {
          fault: ({ name: fault }: { name: string }) => `Fehler ${fault}`,
          finding: ({ parts }: WireFinding) => ({ saw: [`${parts[0]?.estimate} s`] }),
        }
      : undefined,
  );
  expect(inWords.faults([fault])[0]?.title).toBe('Fehler two-part');
  const finding = { ...fault, saw: ['English'], parts: [{ estimate: 0.2 }] } as unknown as WireFinding;
  const coaching = inWords.coaching({ stage: {}, notes: [], findings: [finding] } as never);
  expect(coaching.findings[0]).toMatchObject({ saw: ['0.2 s'], title: fault.title });
});

test('a drill in another language keeps its numbers and its picture; one of the coach’s own keeps its words', () => {
  useLanguage('xx', (_name, english) => ({
    ...english,
    drill: () => ({ title: 'Anders', steps: ['eins'] }),
    drillPicture: ({ shapes }: { shapes: unknown[] }) => ({ inWords: 'Bild', labels: shapes.map(() => 'da') }),
  }));
  const said = inWords.drill(library);
  expect(said).toMatchObject({ title: 'Anders', steps: ['eins'], dose: library.dose, moves: library.moves });
  expect(said.picture?.inWords).toBe('Bild');
  expect(said.picture?.shapes.length).toBe(library.picture?.shapes.length);
  expect(said.picture?.shapes.every((shape) => shape.kind !== 'label' || shape.text === 'da')).toBe(true);
  expect(inWords.drill({ ...library, own: true })).toEqual({ ...library, own: true });
});

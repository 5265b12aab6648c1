import { mkdirSync, writeFileSync } from 'node:fs';
import path from 'node:path';
import { describe, expect, it } from 'vitest';
import { loadProfiles, readProfileFile, shippedProfileFolder } from '../../src/devices/profile-files.ts';
import { profileDocuments } from '../helpers/shipped-profiles.ts';
import { temporaryFolder } from '../helpers/temporary-folder.ts';

describe('profile files', () => {
  it('come with the program, all of them usable', () => {
    const { profiles, problems } = loadProfiles([shippedProfileFolder]);
    expect(problems).toEqual([]);
    expect(profiles.map(({ id }) => `${id}.json`).sort()).toEqual([...profileDocuments().keys()].sort());
  });

  it('of the person come first, and one that cannot be used harms no other', () => {
    const folder = temporaryFolder();
    const own = structuredClone(profileDocuments().get('csv-text.json')) as { title: string };
    own.title = 'My own';
    writeFileSync(path.join(folder, 'a.json'), JSON.stringify(own));
    writeFileSync(path.join(folder, 'b.json'), '{"profileVersion": 1');
    writeFileSync(path.join(folder, 'c.json'), '{"format": "board", "title": "\\u001b[2J"}');
    writeFileSync(path.join(folder, 'notes.txt'), 'not a profile');
    mkdirSync(path.join(folder, 'd.json'));
    const { profiles, problems } = loadProfiles([folder, shippedProfileFolder, path.join(folder, 'missing')]);
    expect(profiles).toHaveLength(profileDocuments().size);
    expect(profiles[0]!.title).toBe('My own');
    expect(problems).toHaveLength(3);
    expect(problems[0]).toContain('b.json: expected a JSON document, but');
    expect(problems[1]).toContain('c.json: device profile, the document: expected a value for');
    for (const problem of problems) expect(problem).not.toMatch(/\p{C}/u);
  });

  it('are refused with profile-text where they are too long or no JSON', () => {
    const file = path.join(temporaryFolder(), 'long.json');
    writeFileSync(file, `"${'x'.repeat(70_000)}"`);
    expect(() => readProfileFile(file)).toThrow(
      expect.objectContaining({
        code: 'profile-text',
        message: expect.stringContaining('at most 65536 bytes, it has 70002'),
      }),
    );
    writeFileSync(file, '"x"');
    expect(() => readProfileFile(file)).toThrow(expect.objectContaining({ code: 'profile-field' }));
  });
});

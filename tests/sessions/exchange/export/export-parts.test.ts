import fc from 'fast-check';
import { expect, it } from 'vitest';
import type { StoredShot } from '../../../../src/sessions/database/shot-records.ts';
import { always, exportParts, isInStretches } from '../../../../src/sessions/exchange/export/export-parts.ts';

/** A shot as far as it matters whose the samples around it are. */
function shot(id: number, atS: number, player: string | null, sensor = 'ball'): StoredShot {
  return { id: String(id), at_s: atS, player_id: player, sensor_id: sensor, result: { shot: {} } } as StoredShot;
}

const ball = new Map<string, string | null>([['ball', null]]);

it('gives out a whole sensor where one player alone shot with it', () => {
  const all = [shot(1, 10, 'a'), shot(2, 100, 'a')];
  expect(exportParts(all, all, ball)).toEqual([{ playerId: 'a', sensorId: 'ball', stretches: [always] }]);
});

it('gives out what lies around the shots that go out, up to the middle between them and others', () => {
  const all = [shot(1, 100, 'a'), shot(2, 108, 'b'), shot(3, 200, 'a'), shot(4, 212, 'a')];
  const own = all.filter(({ player_id }) => player_id === 'a');
  expect(exportParts(all, own, ball)).toEqual([
    {
      playerId: 'a',
      sensorId: 'ball',
      stretches: [
        { fromS: 85, untilS: 104 },
        { fromS: 185, untilS: 222 },
      ],
    },
  ]);
});

it('leaves out sensors that saw none of the shots, unless they can only be the player’s', () => {
  const all = [shot(1, 10, 'a'), shot(2, 100, 'a')];
  const owners = (arm: string | null) => new Map([...ball, ['arm', arm]]);
  expect(exportParts(all, all, owners(null)).map(({ sensorId }) => sensorId)).toEqual(['ball', 'arm']);
  expect(exportParts(all, all, owners('a')).map(({ sensorId }) => sensorId)).toEqual(['ball', 'arm']);
  expect(exportParts(all, all, owners('b')).map(({ sensorId }) => sensorId)).toEqual(['ball']);
  const others = [...all, shot(3, 200, 'b', 'other ball')];
  expect(exportParts(others, all, owners(null)).map(({ sensorId }) => sensorId)).toEqual(['ball']);
});

it('never gives out the instant of a shot that stays here, nor one instant as two players’', () => {
  const shots = fc.array(fc.tuple(fc.integer({ min: 0, max: 300 }), fc.constantFrom('a', 'b', 'c', null)), {
    maxLength: 30,
  });
  fc.assert(
    fc.property(shots, fc.constantFrom('a', 'b', 'ab'), (drawn, willing) => {
      const all = drawn
        .filter(([atS], at) => drawn.findIndex((other) => other[0] === atS) === at)
        .map(([atS, player], id) => shot(id, atS, player));
      const out = all.filter(({ player_id }) => player_id !== null && willing.includes(player_id));
      const parts = exportParts(all, out, ball);
      for (const each of all) {
        const holders = parts.filter(({ stretches }) => isInStretches(stretches, each.at_s));
        const expected = out.includes(each) ? [each.player_id] : [];
        expect(holders.map(({ playerId }) => playerId)).toEqual(expected);
      }
    }),
  );
});

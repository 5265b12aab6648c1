import Type from 'typebox';
import type { Frozen } from './frozen.ts';

const role = Type.Enum(['viewer', 'player', 'coach']);
const page = {
  /** Where other devices find the page; null without a network. */
  url: Type.Union([Type.String(), Type.Null()]),
};

/** What `GET /api/access/pairing` tells the host of the pairing that it opened. */
export const deskSchema = Type.Union([
  Type.Object({
    state: Type.Literal('closed'),
    why: Type.Enum(['none', 'used', 'expired', 'tries', 'cancelled', 'refused']),
    ...page,
  }),
  Type.Object({
    state: Type.Literal('open'),
    role,
    code: Type.String(),
    endsAtS: Type.Number({ description: 'seconds since the Unix epoch' }),
    triesLeft: Type.Integer(),
    ...page,
  }),
  Type.Object({
    state: Type.Literal('asked'),
    role,
    deviceName: Type.String({ description: 'as the device calls itself: a word of a stranger' }),
    endsAtS: Type.Number(),
    ...page,
  }),
]);
export type DeskDocument = Frozen<Type.Static<typeof deskSchema>>;

/** What `GET /api/access/devices` tells the host. */
export const devicesSchema = Type.Object({
  devices: Type.Array(
    Type.Object({ id: Type.String(), name: Type.String(), role, pairedAtS: Type.Number(), seenAtS: Type.Number() }),
  ),
});
export type DevicesDocument = Frozen<Type.Static<typeof devicesSchema>>;

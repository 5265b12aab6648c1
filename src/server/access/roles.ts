/** What a paired device may do. Each may do what those before it may. */
export const pairedRoles = ['viewer', 'player', 'coach'] as const;
export type PairedRole = (typeof pairedRoles)[number];

/** `host` is whoever sits at the machine of the service: it alone lets devices in and out. */
export type Role = PairedRole | 'host';

/** From the one that may least on. */
export const roles: readonly Role[] = [...pairedRoles, 'host'];

/** What a route asks for; `anyone` is for what a device needs before it is paired, `court` for the key of a court alone. */
export type RouteAccess = Role | 'anyone' | 'court';

const ranks: Readonly<Record<RouteAccess, number>> = {
  ...{ anyone: 0, viewer: 1, player: 2, coach: 3, host: 4 },
  // No person is a court, not even the host.
  court: Number.POSITIVE_INFINITY,
};

/** @param role of who asks; null where it is nobody known. */
export function mayUse(role: Role | null, needed: RouteAccess): boolean {
  return ranks[role ?? 'anyone'] >= ranks[needed];
}

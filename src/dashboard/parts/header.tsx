import type { ConnectionState } from '../live-connection.ts';
import { texts } from '../texts.ts';

interface HeaderProps {
  readonly connection: ConnectionState;
  readonly needsReload: boolean;
  /** A device that is not let in yet has lost nothing. */
  readonly isPairing: boolean;
}

/** Loads the page anew on the screen that is shown. */
function reload(event: Event): void {
  event.preventDefault();
  window.location.reload();
}

export function Header({ connection, needsReload, isPairing }: HeaderProps) {
  return (
    <header class="page-header">
      <h1>
        <svg class="seam" viewBox="0 0 32 32" aria-hidden="true">
          <path d="M4 3C15 8.500 15 23.500 4 29M28 3C17 8.500 17 23.500 28 29" />
        </svg>
        {texts.name}
      </h1>
      {needsReload && (
        <p class="reload" role="alert">
          {texts.newVersion}{' '}
          <a href="/" onClick={reload}>
            {texts.reload}
          </a>
        </p>
      )}
      {!(isPairing && connection !== 'open') && (
        <p class={`connection connection-${connection}`} role="status">
          {texts.connection[connection]}
        </p>
      )}
    </header>
  );
}

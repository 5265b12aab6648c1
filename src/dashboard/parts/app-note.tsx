import { texts } from '../texts.ts';

/** How the page becomes an app of the device, and what plain http lacks for it. */
export function AppNote() {
  const isSecure = window.isSecureContext;
  const canStayAwake = 'wakeLock' in navigator;
  return (
    <section aria-labelledby="app-note">
      <h3 id="app-note">{texts.settings.app}</h3>
      <p>{texts.settings.appInstall}</p>
      <p>
        {isSecure ? (canStayAwake ? texts.settings.appAwake : texts.settings.appNoAwake) : texts.settings.appMissing}
      </p>
    </section>
  );
}

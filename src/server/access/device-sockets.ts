/** What is needed of a WebSocket to end it. */
export interface EndableSocket {
  /** From then on nothing more is sent, whatever the other side does. */
  close(code: number, reason: string): void;
}

/** The open WebSockets of each paired device, so that one that is removed hears nothing more. */
export class DeviceSockets {
  readonly #sockets = new Map<string, Set<EndableSocket>>();

  /**
   * @param device null for the machine of the service itself, which nobody removes.
   * @returns forgets the socket again; to be called when it has closed.
   */
  add(device: { readonly id: string } | null, socket: EndableSocket): () => void {
    if (device === null) return () => {};
    const { id: deviceId } = device;
    const set = this.#sockets.get(deviceId) ?? new Set();
    this.#sockets.set(deviceId, set.add(socket));
    return () => {
      set.delete(socket);
      if (set.size === 0 && this.#sockets.get(deviceId) === set) this.#sockets.delete(deviceId);
    };
  }

  /** @returns how many a device has open; 0 for the machine of the service itself. */
  countOf(device: { readonly id: string } | null): number {
    return device === null ? 0 : (this.#sockets.get(device.id)?.size ?? 0);
  }

  closeAll(deviceId: string): void {
    for (const socket of [...(this.#sockets.get(deviceId) ?? [])]) {
      socket.close(4401, 'this device was removed');
    }
  }
}

// Entries that are not in the book yet: in memory for speed, in IndexedDB so that a closed page or a
// pulled plug loses none. Each has its id from the start, so sending twice does no harm.
export function freshId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
}

export class Queue {
  constructor(instrument) {
    this.instrument = instrument;
    this.entries = [];
    this.store = null;
  }

  get size() {
    return this.entries.length;
  }

  // Brings back what an earlier page has left.
  async open() {
    try {
      this.store = await new Promise((resolve, reject) => {
        const asked = indexedDB.open("graduale-bench", 1);
        asked.onupgradeneeded = () => asked.result.createObjectStore("waiting", { keyPath: "id" });
        asked.onsuccess = () => resolve(asked.result);
        asked.onerror = () => reject(asked.error);
      });
      const old = await new Promise((resolve, reject) => {
        const asked = this.store.transaction("waiting").objectStore("waiting").getAll();
        asked.onsuccess = () => resolve(asked.result);
        asked.onerror = () => reject(asked.error);
      });
      const here = new Set(this.entries.map((e) => e.id));
      const mine = old.filter((e) => e.instrument === this.instrument && !here.has(e.id));
      mine.sort((a, b) => a.at_us - b.at_us || a.order - b.order);
      this.entries = [...mine, ...this.entries];
      for (const entry of this.entries) this.#keep(entry);
    } catch {
      this.store = null; // a private window: the queue then lives in memory alone
    }
  }

  add(entry) {
    const kept = { ...entry, instrument: this.instrument, order: performance.now() };
    this.entries.push(kept);
    this.#keep(kept);
  }

  first(count) {
    return this.all().slice(0, count);
  }

  // As the server wants them: without what belongs to the queue.
  all() {
    return this.entries.map(({ instrument, order, ...entry }) => entry);
  }

  done(id) {
    this.entries = this.entries.filter((e) => e.id !== id);
    this.#write((store) => store.delete(id));
  }

  #keep(entry) {
    this.#write((store) => store.put(entry));
  }

  #write(act) {
    if (!this.store) return;
    try {
      act(this.store.transaction("waiting", "readwrite").objectStore("waiting"));
    } catch {
      // the database was closed under us; memory still holds the entry
    }
  }
}

// What is kept on the phone: photos until the computer has them, and the pages as they were at the last visit.

const NAME = "spawnrun";
let opened = null;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("photos", { keyPath: "hash" });
      asked.result.createObjectStore("pages", { keyPath: "path" });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opened;
}

async function use(store, mode, work) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const change = database.transaction(store, mode);
    const asked = work(change.objectStore(store));
    change.oncomplete = () => resolve(asked.result);
    change.onerror = change.onabort = () => reject(change.error);
  });
}

export const put = (store, record) => use(store, "readwrite", (there) => there.put(record));
export const get = (store, key) => use(store, "readonly", (there) => there.get(key));
export const all = (store) => use(store, "readonly", (there) => there.getAll());
export const remove = (store, key) => use(store, "readwrite", (there) => there.delete(key));
export const clear = (store) => use(store, "readwrite", (there) => there.clear());

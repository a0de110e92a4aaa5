/** Talking to the desk's server: requests, uploads, long work, and what it tells by itself. */

const TOKEN = "obbligato-desk-token";
const AGAIN_AFTER_MS = 1000;
const ENDED = ["done", "failed", "cancelled"];

/** What the server said was wrong; `message` is a sentence for the player. */
export class Refused extends Error {
  constructor(status, code, message) {
    super(message);
    this.status = status;
    this.code = code;
  }
}

/** Take this run's token from the address, once, and keep it where the other tabs of this page find it. */
export function takeToken() {
  const given = /^#token=([\w-]+)$/.exec(location.hash);
  if (given) {
    localStorage.setItem(TOKEN, given[1]);
    history.replaceState(null, "", location.pathname + (sessionStorage.getItem("obbligato-place") || ""));
  }
  return localStorage.getItem(TOKEN) || "";
}

/** @param {ReturnType<import("./store.js").createStore>} store */
export function createApi(store) {
  const token = () => localStorage.getItem(TOKEN) || "";
  const waiting = new Map();

  async function request(method, path, body, { signal } = {}) {
    const headers = { Authorization: `Bearer ${token()}` };
    const sent = body === undefined ? undefined : JSON.stringify(body);
    if (sent !== undefined) headers["Content-Type"] = "application/json";
    let response;
    try {
      response = await fetch(`/api${path}`, { method, headers, body: sent, signal, cache: "no-store" });
    } catch (error) {
      if (error.name === "AbortError") throw error;
      store.set({ online: "gone" });
      throw new Refused(0, "gone", "The desk is not running; start it again, and this page goes on by itself.");
    }
    return answer(response.status, response.headers.get("Content-Type"), await response.text());
  }

  function answer(status, type, text) {
    const json = type?.startsWith("application/json") ? JSON.parse(text) : text;
    if (status >= 200 && status < 300) return json;
    if (status === 401) store.set({ online: "strange" });
    throw new Refused(status, json?.error?.code ?? "broken", json?.error?.message ?? "The desk gave no answer; try again.");
  }

  function upload(file, onProgress = () => {}) {
    return new Promise((resolve, reject) => {
      const call = new XMLHttpRequest();
      call.open("PUT", `/api/uploads?name=${encodeURIComponent(file.name)}`);
      call.setRequestHeader("Authorization", `Bearer ${token()}`);
      call.setRequestHeader("Content-Type", "application/octet-stream");
      call.upload.onprogress = (event) => event.total && onProgress(event.loaded / event.total);
      call.onerror = () => reject(new Refused(0, "gone", `'${file.name}' did not arrive; drop it again.`));
      call.onload = () => {
        try {
          resolve(answer(call.status, call.getResponseHeader("Content-Type"), call.responseText));
        } catch (error) {
          reject(error);
        }
      };
      call.send(file);
    });
  }

  function settle(tasks) {
    for (const task of tasks) {
      const asked = waiting.get(task.id);
      if (!asked || !ENDED.includes(task.state)) continue;
      waiting.delete(task.id);
      if (task.state === "done") asked.resolve(task);
      else asked.reject(new Refused(0, task.state, task.error ?? "Stopped; nothing was changed."));
    }
  }

  /** Wait for long work: the promise of a started task in, the finished task out. */
  async function work(started) {
    const { task } = await started;
    return new Promise((resolve, reject) => {
      waiting.set(task.id, { resolve, reject });
      request("GET", "/tasks").then((tasks) => {
        settle(tasks);
        if (!tasks.some((known) => known.id === task.id) && waiting.delete(task.id)) {
          reject(new Refused(0, "gone", "The desk was started anew meanwhile; start this again."));
        }
      }, () => {});
    });
  }

  /** Follow what changes on the server, for ever; a broken line is mended by itself. */
  async function follow(onMessage) {
    for (;;) {
      try {
        const response = await fetch("/api/events", { headers: { Authorization: `Bearer ${token()}` }, cache: "no-store" });
        if (response.status === 401) store.set({ online: "strange" });
        if (!response.ok) throw new Error("no events");
        await readEvents(response.body, (message) => {
          if (message.type === "hello" || message.type === "tasks") {
            store.set({ tasks: message.tasks });
            settle(message.tasks);
            if (message.type === "hello") forgetLost(message.tasks);
          }
          onMessage(message);
        });
      } catch {
        if (store.get().online === "yes") store.set({ online: "gone" });
      }
      await tokenOrTime();
    }
  }

  function forgetLost(tasks) {
    for (const [id, asked] of waiting) {
      if (tasks.some((task) => task.id === id)) continue;
      waiting.delete(id);
      asked.reject(new Refused(0, "gone", "The desk was started anew meanwhile; start this again."));
    }
  }

  return {
    get: (path, options) => request("GET", path, undefined, options),
    post: (path, body = {}, options) => request("POST", path, body, options),
    patch: (path, body, options) => request("PATCH", path, body, options),
    fetchBytes: (path) => fetch(`/api${path}`, { headers: { Authorization: `Bearer ${token()}` } }),
    cancel: (id) => request("POST", `/tasks/${id}/cancel`),
    upload, work, follow,
  };
}

/** A little later, or as soon as another tab was opened by a new address. */
function tokenOrTime() {
  return new Promise((resolve) => {
    const done = () => {
      clearTimeout(timer);
      removeEventListener("storage", done);
      resolve();
    };
    const timer = setTimeout(done, AGAIN_AFTER_MS);
    addEventListener("storage", done);
  });
}

/** Read server-sent events from a stream of bytes until it ends. */
async function readEvents(stream, onMessage) {
  const reader = stream.pipeThrough(new TextDecoderStream()).getReader();
  let text = "";
  for (;;) {
    const { value, done } = await reader.read();
    if (done) return;
    const events = (text + value).split("\n\n");
    text = events.pop();
    for (const event of events) if (event.startsWith("data: ")) onMessage(JSON.parse(event.slice(6)));
  }
}

// What computes: the local server, or the WebAssembly module inside this file. Both take a request and give an answer;
// each has two lines, so that a coarse answer never waits behind a full one.

/** Runs in a worker of its own; the same function serves on the page itself where no worker can be had. */
function calculator() {
  let api = null;
  return {
    async load(module) {
      api = (await WebAssembly.instantiate(module, {})).exports;
    },
    answer(text) {
      const bytes = new TextEncoder().encode(text);
      const room = api.page_room(bytes.length);
      if (!room) throw new Error("the site file is too long");
      new Uint8Array(api.memory.buffer, room, bytes.length).set(bytes);
      const length = api.page_answer();
      return new TextDecoder().decode(new Uint8Array(api.memory.buffer, api.page_answer_at(), length));
    },
  };
}

function workerMain(makeCalculator) {
  const own = makeCalculator();
  self.onmessage = async ({ data }) => {
    try {
      if (data.module) await own.load(data.module);
      else self.postMessage({ id: data.id, answer: own.answer(data.text) });
    } catch (error) {
      self.postMessage({ id: data.id ?? null, failed: String(error) });
    }
  };
}

function insideEngine(base64) {
  const raw = atob(base64.trim());
  const bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i += 1) bytes[i] = raw.charCodeAt(i);
  const compiled = WebAssembly.compile(bytes);
  const source = `"use strict";${calculator};(${workerMain})(calculator);`;
  const address = URL.createObjectURL(new Blob([source], { type: "text/javascript" }));
  const lines = {};
  let counter = 0;

  function workerLine() {
    const waiting = new Map();
    const worker = new Worker(address);
    const fail = (why) => {
      for (const { reject } of waiting.values()) reject(new Error(why));
      waiting.clear();
    };
    const ready = compiled.then((module) => worker.postMessage({ module }));
    worker.onmessage = ({ data }) => {
      if (data.id === null) return fail(data.failed);
      const asked = waiting.get(data.id);
      waiting.delete(data.id);
      if (data.failed) asked?.reject(new Error(data.failed));
      else asked?.resolve(data.answer);
    };
    worker.onerror = (event) => fail(event.message || "the worker ended");
    return {
      ask: (text) =>
        new Promise((resolve, reject) => {
          const id = (counter += 1);
          waiting.set(id, { resolve, reject });
          ready.then(() => worker.postMessage({ id, text }), reject);
        }),
      end: () => {
        worker.terminate();
        fail("dropped");
      },
    };
  }

  function plainLine() {
    const own = calculator();
    const ready = compiled.then((module) => own.load(module));
    return { ask: (text) => ready.then(() => new Promise((resolve) => setTimeout(() => resolve(own.answer(text)), 0))), end() {} };
  }

  const start = () => {
    try {
      return workerLine();
    } catch {
      return plainLine();
    }
  };
  return {
    async ask(name, request) {
      lines[name] ??= start();
      const line = lines[name];
      try {
        return JSON.parse(await line.ask(JSON.stringify(request)));
      } catch (error) {
        // After a break-off the module's memory is not to be trusted.
        if (lines[name] === line) {
          line.end();
          delete lines[name];
        }
        throw error;
      }
    },
    drop(name) {
      lines[name]?.end();
      delete lines[name];
    },
    /** Starts both lines before they are needed. */
    warm() {
      for (const name of ["coarse", "full"]) lines[name] ??= start();
    },
  };
}

function serverEngine(token) {
  const running = {};
  const headers = { "X-Landfall-Token": token };
  // Lanes of this page alone: another one beside it ends nothing here.
  const own = crypto.getRandomValues(new Uint32Array(2)).join("-");
  return {
    async ask(name, request) {
      const control = new AbortController();
      running[name] = control;
      const reply = await fetch("/answer", {
        method: "POST",
        headers: { ...headers, "Content-Type": "application/json", "X-Landfall-Lane": `${own}-${name}` },
        body: JSON.stringify(request),
        signal: control.signal,
      });
      if (!reply.ok) throw new Error(`the server answers ${reply.status} ${await reply.text()}`.trim());
      return reply.json();
    },
    drop(name) {
      running[name]?.abort();
      delete running[name];
    },
    warm() {},
    async box() {
      const ask = () => fetch("/box", { headers });
      // A connection that was cut before it had asked, in a crowd of others, is no lost box: once more.
      const reply = await ask().catch(ask);
      if (!reply.ok) throw new Error(`the server answers ${reply.status}`);
      return reply.json();
    },
  };
}

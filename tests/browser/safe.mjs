// safe.mjs - what `keelblock review` must not do, asked word for word as no browser would.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import * as program from "./program.mjs";

let server;

before(async () => {
    await program.makeResult("safe", { fields: 1 });
    server = await program.review("safe");
});

after(() => program.endAll());

const get = (path, headers = {}) =>
    program.request(server, { path, headers: { Host: `127.0.0.1:${server.port}`, ...headers } });

function post(path, headers = {}, body = { who: "stranger" }) {
    const text = typeof body === "string" ? body : JSON.stringify(body);
    return program.request(
        server,
        {
            method: "POST",
            path,
            headers: {
                Host: `127.0.0.1:${server.port}`,
                Origin: `http://127.0.0.1:${server.port}`,
                "Content-Type": "application/json",
                "Content-Length": Buffer.byteLength(text),
                ...headers,
            },
        },
        text,
    );
}

const under = (path) => `/${server.token}/${path}`;
const change = { kind: "exclude", fields: [0], rect: [1, 1, 20, 20], who: "stranger", why: "none" };

test("the address cannot be guessed", async () => {
    assert.ok(server.token.length >= 22, "at least 128 bits of base 64");
    for (const path of [
        "/",
        "/state",
        `/${"x".repeat(server.token.length)}/state`,
        `/${server.token.slice(0, -1)}/state`,
        `/${server.token}x/state`,
        `/${server.token}`,
    ]) {
        const { status, body } = await get(path);
        assert.ok([301, 302, 303, 307, 308, 404].includes(status), `${path}: ${status}`);
        if (status !== 404) assert.equal(path, `/${server.token}`);
        assert.ok(!body.includes(server.token), path);
    }
});

test("it listens on the loopback only", async () => {
    const { networkInterfaces } = await import("node:os");
    const outer = Object.values(networkInterfaces())
        .flat()
        .filter(({ internal }) => !internal);
    for (const { address } of outer) {
        await assert.rejects(program.request(server, { host: address, path: under("state") }));
    }
});

test("a forged Host is turned away, so that no other name can stand for this machine", async () => {
    for (const host of [
        "example.org",
        `example.org:${server.port}`,
        "127.0.0.1",
        "127.0.0.1:1",
        `127.0.0.1:${server.port}.example.org`,
        "",
    ]) {
        assert.ok([400, 403].includes((await get(under("state"), { Host: host })).status), host);
    }
    assert.equal((await get(under("state"), { Host: `localhost:${server.port}` })).status, 200);
});

test("a change from another page is turned away", async () => {
    for (const headers of [
        { Origin: "http://example.org" },
        { Origin: "null" },
        { Origin: `https://127.0.0.1:${server.port}` },
        { Origin: "" },
        { "Content-Type": "text/plain" },
        { "Content-Type": "application/x-www-form-urlencoded" },
    ]) {
        const { status } = await post(under("change"), headers, change);
        assert.ok([400, 403, 415].includes(status), `${JSON.stringify(headers)}: ${status}`);
    }
    const { record } = await program.state(server);
    assert.deepEqual(record, []);
});

test("no file but the page's own can be read", async () => {
    for (const path of [
        "../result.json",
        "..%2fresult.json",
        "%2e%2e/result.json",
        "result.json",
        "review.jsonl",
        "../../../../etc/passwd",
        "..%2f..%2f..%2fetc%2fpasswd",
        "/etc/passwd",
        "//etc/passwd",
        "page.html%00.js",
        "field/0/../../state",
        "field/-1/grey/0/0/0",
        "field/9/grey/0/0/0",
        "field/0/grey/99/0/0",
        "field/0/grey/0/9999/0",
        "field/0/grey/0/-1/0",
        "field/0/grey/0/18446744073709551617/0",
    ]) {
        const { status, body } = await get(under(path));
        assert.ok([400, 403, 404].includes(status), `${path}: ${status}`);
        assert.ok(!/root:|"figures"/.test(body), path);
    }
});

test("what is no change is refused, and the program goes on", async () => {
    for (const body of [
        "",
        "{",
        "[]",
        "null",
        "{}",
        { ...change, kind: "delete" },
        { ...change, fields: [7] },
        { ...change, fields: [-1] },
        { ...change, fields: [] },
        { ...change, rect: [1, 1, -5, 5] },
        { ...change, rect: [1e300, 1, 5, 5] },
        { ...change, rect: null },
        { ...change, kind: "phase", points: [[5, 5]], phase: "gold" },
        { ...change, kind: "form", points: [[-5, 5]], form: "I" },
        { ...change, kind: "cut", points: [[5, 5]] },
        {
            ...change,
            kind: "scale",
            points: [
                [5, 5],
                [50, 5],
            ],
            length_um: 0,
        },
        { ...change, kind: "thresholds", dark: 200, bright: 20 },
    ]) {
        const { status } = await post(under("change"), {}, body);
        assert.ok(status >= 400 && status < 500, `${JSON.stringify(body)}: ${status}`);
    }
    const big = { ...change, why: "x".repeat(1 << 21) };
    const answer = await post(under("change"), {}, big).catch(() => ({ status: 413 }));
    assert.ok(answer.status >= 400 && answer.status < 500, `2 MB: ${answer.status}`);
    assert.deepEqual((await program.state(server)).record, []);
});

test("other methods are not served", async () => {
    for (const method of ["PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"]) {
        const { status } = await program.request(server, { method, path: under("state") });
        assert.ok([403, 404, 405, 501].includes(status), `${method}: ${status}`);
    }
    assert.ok([403, 404, 405].includes((await get(under("change"))).status));
});

test("the browser is told to run nothing but the page's own, and to keep nothing", async () => {
    const { headers } = await get(under(""));
    const policy = headers["content-security-policy"];
    for (const rule of [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
        "form-action 'none'",
    ]) {
        assert.ok(policy.includes(rule), rule);
    }
    assert.ok(!/unsafe/.test(policy));
    assert.equal(headers["x-content-type-options"], "nosniff");
    assert.equal(headers["referrer-policy"], "no-referrer");
    assert.match(headers["cache-control"], /no-store/);
});

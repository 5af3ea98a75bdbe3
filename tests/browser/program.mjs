// program.mjs - the built program: drawn fields, results, `keelblock review`; a plain HTTP client.
import { execFile, spawn } from "node:child_process";
import { readFileSync } from "node:fs";
import http from "node:http";
import path from "node:path";
import { promisify } from "node:util";

const KEELBLOCK = process.env.KEELBLOCK;
export const WORK = process.env.KB_BROWSER_WORK;

/* Runs it to its end: {code, stdout, stderr}. */
export async function keelblock(...words) {
    try {
        const done = await promisify(execFile)(KEELBLOCK, words, { cwd: WORK });
        return { code: 0, ...done };
    } catch (error) {
        return { code: error.code, stdout: error.stdout, stderr: error.stderr };
    }
}

async function must(...words) {
    const done = await keelblock(...words);
    if (done.code > 1) throw new Error(`keelblock ${words.join(" ")}: ${done.stderr}`);
}

/* What `keelblock measure` is asked for: the same again with the record must give the same. */
export const asked = (name) => [
    "--material",
    "ductile-iron",
    "--contrast",
    "light",
    `${name}-fields`,
    "--pixel-size",
    "0.5um",
    "--specimen",
    name,
    "--limit",
    "nodularity >= 50 %",
    "--limit",
    "nodules_per_mm2 >= 100",
];

/* Draws fields and measures them into the folder `name`. */
export async function makeResult(name, { fields = 2, size = "640x480", seed = 11 } = {}) {
    await must(
        "render",
        "-o",
        `${name}-fields`,
        "--quiet",
        "--fields",
        String(fields),
        "--size",
        size,
        "--seed",
        String(seed),
        "--clusters",
        "0.2",
    );
    await must("measure", ...asked(name), "--quiet", "-o", name);
}

export const result = (name) =>
    JSON.parse(readFileSync(path.join(WORK, name, "result.json"), "utf8"));

export const recordLines = (name) =>
    readFileSync(path.join(WORK, name, "review.jsonl"), "utf8")
        .trim()
        .split("\n")
        .map((line) => JSON.parse(line));

/* `keelblock review` on a folder: {address, port, kill(signal)}. */
export function review(name) {
    const child = spawn(KEELBLOCK, ["review", name, "--no-browser"], { cwd: WORK });
    let said = "";
    const ended = new Promise((done) => child.once("exit", done));
    const kill = async (signal = "SIGTERM") => {
        child.kill(signal);
        return ended;
    };
    running.add(kill);
    ended.then(() => running.delete(kill));
    return new Promise((started, failed) => {
        const hear = (text) => {
            said += text;
            const found = /http:\/\/127\.0\.0\.1:(\d+)\/([\w-]+)\//.exec(said);
            if (found) {
                started({ address: found[0], port: Number(found[1]), token: found[2], kill });
            }
        };
        child.stdout.on("data", hear);
        child.stderr.on("data", hear);
        ended.then((code) => failed(new Error(`keelblock review ended with ${code}: ${said}`)));
    });
}

const running = new Set();
export const endAll = () => Promise.all([...running].map((kill) => kill("SIGKILL")));

/* A request word for word, as a browser would never send it: {status, headers, body}. */
export function request(server, given, body) {
    return new Promise((done, failed) => {
        const sent = http.request(
            {
                host: "127.0.0.1",
                port: server.port,
                setHost: false,
                headers: { Host: `127.0.0.1:${server.port}` },
                ...given,
            },
            (answer) => {
                const parts = [];
                answer.on("data", (part) => parts.push(part));
                answer.on("end", () =>
                    done({
                        status: answer.statusCode,
                        headers: answer.headers,
                        body: Buffer.concat(parts).toString("utf8"),
                    }),
                );
            },
        );
        sent.on("error", failed);
        sent.end(body);
    });
}

export async function state(server) {
    const answer = await request(server, { path: `/${server.token}/state` });
    return JSON.parse(answer.body);
}

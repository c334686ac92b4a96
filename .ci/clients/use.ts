// The calls of the guide through the types that are generated for TypeScript: `node use.js ADDRESS KEY EXAMPLES`.
import { strict as assert } from "node:assert";
import { readFileSync } from "node:fs";
import createClient from "openapi-fetch";
import type { components, paths } from "./api.js";

const [address, key, examples] = process.argv.slice(2) as [string, string, string];
const bodies = JSON.parse(readFileSync(examples, "utf-8")) as { Question: components["schemas"]["Question"] };
const client = createClient<paths>({ baseUrl: address, headers: { "X-API-Key": key } });

const { data: answered, error } = await client.POST("/v1/answers", { body: bodies.Question });
assert(answered, JSON.stringify(error));
const outcome: "works" | "conditional" | "undetermined" | "fails" | undefined = answered.outcome;
assert(outcome);

const { data: page } = await client.GET("/v1/rigs/{id}/accessories", {
  params: { path: { id: "rig_farm_muckle" }, query: { limit: 5 } },
});
assert.equal(page?.items.length, 5);

const sku = page.items[0]!.sku;
const { data: matched } = await client.POST("/v1/matches", { body: { rigs: [{ id: "rig_farm_muckle" }], skus: [sku] } });
assert.equal(matched?.rigs[0]?.items[0]?.outcome, page.items[0]!.outcome);

const made = await client.POST("/v1/accessories", {
  body: { sku: "CLIENT-2", subject: "accessory", facts: { kind: "step" } },
});
assert.equal(made.response.status, 201);
const told = await client.POST("/v1/observations", {
  body: { subject: "accessory", record: "CLIENT-2", facts: { weight: "31 lb" }, kind: "measured" },
});
assert.equal(told.response.status, 201);
const now = await client.GET("/v1/accessories/{sku}", { params: { path: { sku: "CLIENT-2" } } });
const gone = await client.DELETE("/v1/accessories/{sku}", {
  params: { path: { sku: "CLIENT-2" }, header: { "If-Match": now.response.headers.get("etag")! } },
});
assert.equal(gone.response.status, 204);

// The texts that the pages use. The program serves another module in place of this one: the
// texts of the configured language, see Locale.ForPages in daemon/words. This one reads the
// English texts for the tests of the modules, which run on Node.js.
// @ts-nocheck
import { readFileSync } from "node:fs";

const texts = JSON.parse(readFileSync(new URL("../../../words/en.json", import.meta.url), "utf8"));

/** @type {{language: string, timeZone: string, fahrenheit: boolean, texts: Record<string, string | Record<string, string>>}} */
export default { language: "en", timeZone: "", fahrenheit: false, texts };

// SPDX-License-Identifier: Apache-2.0
// Writes pages for the tests: `page-sample small` with hostile texts in every place, `page-sample
// large` with 40 signals over 30 minutes.
#include <cmath>
#include <cstdio>
#include <cstring>
#include <string>

#include "page.hpp"

using namespace telltale;

int main(int argc, char** argv) {
    const bool large = argc > 1 && std::strcmp(argv[1], "large") == 0;
    const int signals = large ? 40 : 12;
    const double length = large ? 1800 : 300;
    const double rate = 5; // samples a second of each signal
    const std::string hostile =
        "</script><script>window.harmed=1</script>"
        "<img src=x onerror='window.harmed=1'>\" onload=\"window.harmed=1\x1b[2J";
    page::Page page;
    page.title = "Page of a test " + hostile;
    page.verdict = "First lead: signal 3. " + hostile;
    page.files = "good.pcapng, bad.pcapng " + hostile;
    page.caution = "A lead for a pinpoint test, not a verdict. " + hostile;
    page.bad_name = "bad run" + (large ? std::string() : hostile);
    page.marks = {{120, hostile}, {200, "second"}};
    page.notes = {"a note " + hostile};
    page.report = "VIN " + hostile + "\nsecond line\n";
    page.shift = 5;
    for (int i = 0; i < signals; ++i) {
        page::Signal signal;
        signal.key = "7E8/" + std::to_string(i) + hostile;
        signal.ecu = "7E8";
        signal.name = "Signal " + std::to_string(i) + (large ? std::string() : hostile);
        signal.unit = i % 2 == 0 ? Unit::kilopascal_air : Unit::celsius;
        signal.step = 0.5;
        signal.decimals = 1;
        for (int n = 0; n < static_cast<int>(length * rate); ++n) {
            const double time = n / rate + 0.01 * i;
            if (time > 60 && time < 70)
                continue; // a gap
            const double value = 100 + std::round(100 * std::sin(time / 10 + i)) / 2;
            signal.good.time.push_back(time);
            signal.good.value.push_back(value);
            signal.bad.time.push_back(time);
            signal.bad.value.push_back(i == 3 && time > 118 && time < 124 ? 10 : value);
            if (i == 3 && time > 100 && time < 140) {
                signal.expected.time.push_back(time);
                signal.expected.value.push_back(value);
            }
        }
        page.signals.push_back(signal);
    }
    page::Lead lead;
    lead.signal = page.signals[3].key;
    lead.name = page.signals[3].name;
    lead.ecu = "7E8";
    lead.start = 118.03;
    lead.end = 123.83;
    lead.score = 12.5;
    lead.peak = "-90 °C";
    lead.sentence = "It fell while the others kept their course. " + hostile;
    lead.meanwhile = "The others were steady. " + hostile;
    lead.test = "Wiggle the harness while watching this value. " + hostile;
    lead.spans = {{118.03, 119.03}, {122.03, 123.83}};
    page.leads = {lead};
    page.first = {page.signals[1].key};
    const auto text = page::render(page);
    if (!text) {
        std::fprintf(stderr, "%s\n", text.error().detail.c_str());
        return 1;
    }
    return std::fwrite(text->data(), 1, text->size(), stdout) == text->size() ? 0 : 1;
}

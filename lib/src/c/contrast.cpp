// SPDX-License-Identifier: Apache-2.0
#include "telltale/run/contrast.hpp"

#include <cmath>
#include <string>
#include <vector>

#include "arena.hpp"
#include "guard.hpp"
#include "relay.hpp"
#include "telltale.h"
#include "telltale/base/shown.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/run/contrast_json.hpp"
#include "telltale/run/load.hpp"

using namespace telltale;

struct telltale_run {
    run::Run run;
};

struct telltale_contrast : c::Handle {
    run::ContrastResult result;
    std::vector<telltale_suspect> suspects; ///< refer to `result`
    std::string json;
};

namespace {

telltale_text text_of(const std::string& text) noexcept {
    return {text.c_str(), text.size()};
}

telltale_suspect suspect_of(const run::ContrastResult& result, const run::Departure& departure) {
    const run::ContrastSignal& signal = result.signals[departure.signal];
    const Shown how = shown(signal.unit, 0, signal.decimals, UnitSystem::si);
    telltale_suspect to{};
    to.ecu = text_of(signal.ecu);
    to.line = text_of(signal.line);
    to.name = text_of(signal.name);
    to.key = text_of(signal.key);
    to.unit = c::literal(how.text);
    to.ucum = c::literal(how.ucum);
    to.kind = c::literal(word(departure.kind));
    to.service = signal.service;
    to.index = signal.index;
    to.id = signal.id;
    to.run = departure.run;
    to.after = departure.after ? static_cast<std::int32_t>(*departure.after) : -1;
    to.episodes = departure.episode_count;
    to.score = departure.score;
    to.start = departure.start_second;
    to.end = departure.end_second;
    to.peak_difference = departure.peak_difference;
    to.peak_value = departure.peak_value;
    to.peak_expected = departure.peak_expected;
    to.others = text_of(departure.others);
    to.sentence = text_of(departure.sentence);
    to.proof = text_of(departure.proof);
    to.late_by = departure.late_by;
    return to;
}

/// TELLTALE_OK, or fills the error.
int read_options(const telltale_contrast_options* from, run::ContrastOptions& out,
                 telltale_error* error) {
    telltale_contrast_options options = TELLTALE_CONTRAST_OPTIONS_INIT;
    if (from != nullptr && !c::copy_options(from, options))
        return c::fail(error, TELLTALE_BAD_ARGUMENT,
                       "the options do not say their size, or say more than this library knows: "
                       "set them up with TELLTALE_CONTRAST_OPTIONS_INIT");
    if (options.has_mark != 0) {
        if (!(std::fabs(options.mark) <= run::ContrastOptions::farthest_mark))
            return c::fail(error, TELLTALE_BAD_ARGUMENT,
                           "the mark is no number of seconds within thirty years");
        out.mark = options.mark;
    }
    if (options.only != nullptr) {
        auto picks = run::parse_picks(options.only);
        if (!picks)
            return c::fail(error, picks.error());
        out.only = std::move(*picks);
    }
    return TELLTALE_OK;
}

} // namespace

extern "C" {

int telltale_run_load(const char* path, const telltale_options* options, telltale_run** run,
                      telltale_error* error) {
    return c::make(run, error, [&](std::unique_ptr<telltale_run>& made) {
        if (path == nullptr)
            return c::fail(error, TELLTALE_BAD_ARGUMENT, "the path is null");
        c::Settings settings;
        const int status = c::read_options(options, settings, error);
        if (status != TELLTALE_OK)
            return status;
        auto loaded = run::load(path, {}, settings.stream);
        if (!loaded)
            return c::fail(error, loaded.error());
        made = std::make_unique<telltale_run>(telltale_run{std::move(*loaded)});
        return int{TELLTALE_OK};
    });
}

int telltale_run_load_memory(const uint8_t* bytes, size_t size, const char* name,
                             const telltale_options* options, telltale_run** run,
                             telltale_error* error) {
    return c::make(run, error, [&](std::unique_ptr<telltale_run>& made) {
        if (bytes == nullptr && size != 0)
            return c::fail(error, TELLTALE_BAD_ARGUMENT, "the bytes are null");
        c::Settings settings;
        const int status = c::read_options(options, settings, error);
        if (status != TELLTALE_OK)
            return status;
        dump::ReaderOptions how;
        how.filter = &settings.stream.filter;
        auto reader = dump::Reader::from(dump::memory_source({bytes, size}), how);
        if (!reader)
            return c::fail(error, reader.error());
        made = std::make_unique<telltale_run>(
            telltale_run{run::load(*reader, name == nullptr ? "" : name, {}, settings.stream)});
        return int{TELLTALE_OK};
    });
}

void telltale_run_free(telltale_run* run) {
    delete run;
}

int telltale_contrast_runs(const telltale_run* good, const telltale_run* const* bad,
                           size_t bad_count, const telltale_contrast_options* options,
                           telltale_contrast** contrast, telltale_error* error) {
    return c::make(contrast, error, [&](std::unique_ptr<telltale_contrast>& made) {
        if (good == nullptr || (bad == nullptr && bad_count != 0))
            return c::fail(error, TELLTALE_BAD_ARGUMENT, "a run is null");
        constexpr std::size_t most_runs = 1000;
        if (bad_count > most_runs)
            return c::fail(error, TELLTALE_TOO_LONG, "more than 1000 bad runs");
        run::ContrastOptions how;
        const int status = read_options(options, how, error);
        if (status != TELLTALE_OK)
            return status;
        std::vector<const run::Run*> runs;
        for (std::size_t i = 0; i < bad_count; ++i) {
            if (bad[i] == nullptr)
                return c::fail(error, TELLTALE_BAD_ARGUMENT, "a run is null");
            runs.push_back(&bad[i]->run);
        }
        made = std::make_unique<telltale_contrast>();
        made->result = runs.empty() ? run::contrast_alone(good->run, how)
                                    : run::contrast(good->run, runs, how);
        for (const run::Departure& departure : made->result.suspects)
            made->suspects.push_back(suspect_of(made->result, departure));
        return int{TELLTALE_OK};
    });
}

void telltale_contrast_free(telltale_contrast* contrast) {
    delete contrast;
}

size_t telltale_contrast_suspects(const telltale_contrast* contrast) {
    return contrast == nullptr ? 0 : contrast->suspects.size();
}

const telltale_suspect* telltale_contrast_suspect(const telltale_contrast* contrast, size_t index) {
    return contrast == nullptr || index >= contrast->suspects.size() ? nullptr
                                                                     : &contrast->suspects[index];
}

int telltale_contrast_json(telltale_contrast* contrast, int units, const char** text,
                           size_t* size) {
    if (text != nullptr)
        *text = nullptr;
    if (size != nullptr)
        *size = 0;
    if (text == nullptr || size == nullptr || (units != TELLTALE_SI && units != TELLTALE_US))
        return TELLTALE_BAD_ARGUMENT;
    return c::use(contrast, [&] {
        contrast->json.clear();
        run::append_contrast_json(contrast->json, contrast->result,
                                  units == TELLTALE_US ? UnitSystem::us : UnitSystem::si);
        *text = contrast->json.c_str();
        *size = contrast->json.size();
        return int{TELLTALE_OK};
    });
}

const char* telltale_contrast_caution(void) {
    return run::contrast_caution().data();
}

} // extern "C"

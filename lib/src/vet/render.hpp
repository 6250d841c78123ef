// SPDX-License-Identifier: Apache-2.0
// What the forms of a report share. Internal: nothing here is installed.
#pragma once

#include <algorithm>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "telltale/base/number.hpp"
#include "telltale/vet/report.hpp"

namespace telltale::vet::render {

/// `FOUND SOUND` and so on, with what it rests on.
struct Conclusion {
    std::string_view word;
    std::string_view sentence;
};
inline Conclusion conclusion_of(const Report& report) {
    switch (report.verdict()) {
    case Verdict::passed:
        return {"SOUND", "nothing that was tested is wrong"};
    case Verdict::failed:
        return {"FOUND WANTING", "what is wrong stands below"};
    case Verdict::untested:
        break;
    }
    if (!report.broken_off.empty())
        return {"NOT TESTED TO THE END", "what passed does not make it sound"};
    return {"NOT TESTED", "nothing could be tested"};
}

/// The checks of a group, in the order in which groups begin.
struct Group {
    std::string_view name;
    std::vector<const Check*> checks;
};
inline std::vector<Group> groups_of(const Report& report) {
    std::vector<Group> groups;
    for (const Check& check : report.checks) {
        auto found = std::find_if(groups.begin(), groups.end(),
                                  [&](const Group& group) { return group.name == check.group; });
        if (found == groups.end())
            found = groups.insert(groups.end(), Group{check.group, {}});
        found->checks.push_back(&check);
    }
    return groups;
}

/// 12,345.
inline std::string with_commas(std::uint64_t number) {
    std::string out;
    append_integer(out, number);
    for (std::size_t at = out.size(); at > 3; at -= 3)
        out.insert(at - 3, 1, ',');
    return out;
}

/// A time with the unit that suits it, at most three digits before the point: "1.5 ms", "70 us".
inline std::string short_time(Time time) {
    struct Scale {
        Time size;
        std::string_view unit;
    };
    constexpr Scale scales[] = {{nanoseconds_a_second, " s"},
                                {nanoseconds_a_millisecond, " ms"},
                                {1'000, " us"},
                                {1, " ns"}};
    const Scale* scale = &scales[3];
    for (const Scale& one : scales)
        if (time >= one.size) {
            scale = &one;
            break;
        }
    std::string out;
    const double value = static_cast<double>(time) / static_cast<double>(scale->size);
    append_number(out, value, value >= 100 ? 0 : value >= 10 ? 1 : 2);
    if (out.find('.') != std::string::npos) {
        while (out.back() == '0')
            out.pop_back();
        if (out.back() == '.')
            out.pop_back();
    }
    return out.append(scale->unit);
}

/// The buckets from the first that holds something to the last; empty: none does.
inline std::pair<std::size_t, std::size_t> filled(const Latency& latency) {
    std::size_t first = 0;
    std::size_t end = Latency::buckets;
    while (first < end && latency.count(first) == 0)
        ++first;
    while (end > first && latency.count(end - 1) == 0)
        --end;
    return {first, end};
}

/// "1 ms to 1.5 ms", "10 s and more".
inline std::string bucket_name(std::size_t bucket) {
    if (bucket + 1 == Latency::buckets)
        return short_time(Latency::begin(bucket)) + " and more";
    if (bucket == 0)
        return "below " + short_time(Latency::begin(1));
    return short_time(Latency::begin(bucket)) + " to " + short_time(Latency::begin(bucket + 1));
}

/// "20,000 measured: least 0.3 ms, half within 1 ms, 99 % within 3 ms, greatest 12 ms".
inline std::string in_short(const Latency& latency) {
    if (latency.total() == 0)
        return "none measured";
    return with_commas(latency.total()) + " measured: least " + short_time(latency.least()) +
           ", half within " + short_time(latency.within(0.5)) + ", 99 % within " +
           short_time(latency.within(0.99)) + ", greatest " + short_time(latency.greatest());
}

/// "3 of 20,000 wrong"; empty where nothing was judged.
inline std::string judged(const Check& check) {
    if (check.sent_count == 0)
        return {};
    return with_commas(check.wrong_count) + " of " + with_commas(check.sent_count) + " wrong";
}

/// "lost: sent 123 01; came 123 02".
inline std::string in_words(const Example& example) {
    std::string out = example.what;
    if (!example.sent.empty())
        out += (out.empty() ? "sent " : ": sent ") + example.sent;
    if (!example.came.empty())
        out += (out.empty()            ? "came "
                : example.sent.empty() ? ": came "
                                       : "; came ") +
               example.came;
    if (example.time != no_time) {
        out += " (at ";
        append_seconds(out, example.time);
        out += " s)";
    }
    return out;
}

} // namespace telltale::vet::render

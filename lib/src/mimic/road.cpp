// SPDX-License-Identifier: Apache-2.0
#include <algorithm>
#include <array>

#include "make.hpp"

namespace telltale::mimic {

namespace {

struct StretchKind {
    double limit;
    double shortest;
    double longest;
    double grade;
    double rough; // chance of a bad surface
    double stops; // chance of a stop at its end
};
constexpr std::array stretch_kinds{
    StretchKind{30, 150, 400, 0.01, 0.3, 0.4},    StretchKind{50, 300, 1100, 0.02, 0.15, 0.5},
    StretchKind{70, 600, 1800, 0.03, 0.1, 0.25},  StretchKind{90, 1200, 3500, 0.04, 0.05, 0.1},
    StretchKind{120, 2500, 6000, 0.02, 0.0, 0.0},
};

/// Somebody slow ahead for a while, and a stop at the end, if chance has it.
void make_stretch_traffic(DriveSettings& settings, Random& random, const StretchKind& kind,
                          double place, double length) {
    if (random.uniform() < 0.5) {
        const double from = place + random.between(0.1, 0.5) * length;
        settings.traffic.push_back({from, from + random.between(0.1, 0.4) * length,
                                    kind.limit * random.between(0.6, 0.9), 0});
    }
    if (random.uniform() < kind.stops)
        settings.traffic.push_back({0, place + length - 5, 0, random.between(6, 35)});
}

/// The last stretch ends with a stop.
void make_last_stop(DriveSettings& settings, Random& random) {
    settings.traffic.push_back({0, settings.circuit - 4, 0, random.between(8, 30)});
}

} // namespace

void make_road(DriveSettings& settings, Random& random) {
    // A street, then country, then street again, as often as it takes; level in the end.
    static constexpr unsigned order[] = {1, 0, 1, 2, 3, 4, 3, 1, 2, 1, 0, 1};
    double place = 0;
    double height = 0;
    for (const auto which : order) {
        const StretchKind& kind = stretch_kinds[which];
        const double length = random.between(kind.shortest, kind.longest);
        double grade = kind.grade * random.between(-1, 1);
        if (height + grade * length > 60 || height + grade * length < -60)
            grade = -grade;
        height += grade * length;
        const double rough =
            random.uniform() < kind.rough ? random.between(0.6, 0.9) : random.between(0.05, 0.2);
        settings.road.push_back({place, kind.limit, grade, rough});
        make_stretch_traffic(settings, random, kind, place, length);
        place += length;
    }
    // The last stretch takes back what was climbed.
    const double length = 900;
    settings.road.push_back({place, 50, -height / length, 0.1});
    settings.circuit = place + length;
    make_last_stop(settings, random);
}

void make_traffic(DriveSettings& settings, Random& random) {
    settings.traffic.clear();
    for (std::size_t i = 0; i + 1 < settings.road.size(); ++i) {
        const double place = settings.road[i].from;
        for (const StretchKind& kind : stretch_kinds)
            if (kind.limit == settings.road[i].limit)
                make_stretch_traffic(settings, random, kind, place,
                                     settings.road[i + 1].from - place);
    }
    make_last_stop(settings, random);
}

} // namespace telltale::mimic

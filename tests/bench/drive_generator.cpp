// SPDX-License-Identifier: Apache-2.0
#include "drive_generator.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <numeric>

namespace bench {

using telltale::Time;
using telltale::run::DepartureKind;
using telltale::run::Run;
using telltale::run::Series;

std::uint64_t Random::bits() {
    state_ += 0x9E3779B97F4A7C15U;
    std::uint64_t z = state_;
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9U;
    z = (z ^ z >> 27) * 0x94D049BB133111EBU;
    return z ^ z >> 31;
}

double Random::uniform(double low, double high) {
    return low + (high - low) * static_cast<double>(bits() >> 11) * 0x1p-53;
}

double Random::normal(double sd) {
    if (has_spare_) {
        has_spare_ = false;
        return spare_ * sd;
    }
    const double radius = std::sqrt(-2 * std::log(1 - uniform()));
    const double angle = 2 * std::numbers::pi * uniform();
    spare_ = radius * std::sin(angle);
    has_spare_ = true;
    return radius * std::cos(angle) * sd;
}

namespace {

double quantised(const Channel& channel, double value) {
    const double raw = std::round((value - channel.low) / channel.step);
    const double top = std::round((channel.high - channel.low) / channel.step);
    return channel.low + std::clamp(raw, 0.0, top) * channel.step;
}

double at(const Channel& channel, double dt, double t) {
    const double place = std::max(0.0, t / dt);
    const auto i = std::min(static_cast<std::size_t>(place), channel.grid.size() - 1);
    const auto j = std::min(i + 1, channel.grid.size() - 1);
    const double part = std::min(1.0, place - static_cast<double>(i));
    return channel.grid[i] + part * (channel.grid[j] - channel.grid[i]);
}

/// When each signal is asked: round robin in one order, a slower group polled every few turns, with
/// jitter, skipped answers and whole gaps.
struct Polling {
    double rate = 5;
    double jitter = 0.1;
    double lost = 0;
    double gap_chance = 0; ///< a turn
    std::vector<std::size_t> order;
    std::vector<unsigned> every; ///< by channel
};

Polling draw_polling(Random& random, std::size_t channels, double rate) {
    Polling polling;
    polling.rate = rate;
    polling.jitter = random.uniform(0, 0.4);
    polling.lost = random.chance(0.5) ? random.uniform(0, 0.03) : 0;
    polling.gap_chance = random.chance(0.4) ? random.uniform(0.0002, 0.002) : 0;
    polling.order.resize(channels);
    std::iota(polling.order.begin(), polling.order.end(), std::size_t{0});
    for (std::size_t i = channels; i > 1; --i)
        std::swap(polling.order[i - 1], polling.order[random.below(i)]);
    polling.every.assign(channels, 1);
    if (rate > 4 && random.chance(0.4))
        for (unsigned& every : polling.every)
            every = random.chance(0.3) ? static_cast<unsigned>(rate / 2) : 1;
    return polling;
}

std::vector<std::vector<double>> poll_times(Random& random, const Polling& polling,
                                            double seconds) {
    std::vector<std::vector<double>> times(polling.order.size());
    const double turn = 1 / polling.rate;
    const double slot = turn / static_cast<double>(polling.order.size());
    double t = random.uniform(0, turn);
    for (unsigned round = 0; t < seconds; ++round) {
        for (std::size_t place = 0; place < polling.order.size(); ++place) {
            const std::size_t channel = polling.order[place];
            t += slot * (1 + polling.jitter * random.uniform(-1, 1));
            if (round % polling.every[channel] != channel % polling.every[channel])
                continue;
            if (t < seconds && !random.chance(polling.lost))
                times[channel].push_back(t);
        }
        if (random.chance(polling.gap_chance))
            t += random.uniform(1, 8);
    }
    return times;
}

/// The pieces of time in which a fault shows.
using Pieces = std::vector<std::pair<double, double>>;

Pieces draw_pieces(Random& random, DepartureKind kind, double seconds, double interval) {
    Pieces pieces;
    const double first = seconds * random.uniform(0.2, 0.6);
    switch (kind) {
    case DepartureKind::drop_out:
    case DepartureKind::spike:
    case DepartureKind::end_of_range: {
        const std::size_t count = 1 + random.below(5);
        for (std::size_t i = 0; i < count; ++i) {
            const double start = i == 0 ? first : random.uniform(first, seconds * 0.95);
            double length = interval * 0.999; // one sample
            if (kind == DepartureKind::drop_out)
                length = interval * static_cast<double>(1 + random.below(4)) * 0.999;
            if (kind == DepartureKind::end_of_range)
                length = std::max(2.5 * interval, random.uniform(0.5, 6));
            pieces.emplace_back(start, start + length);
        }
        break;
    }
    case DepartureKind::stuck:
        pieces.emplace_back(first, first + random.uniform(20, 90));
        break;
    case DepartureKind::noise:
        for (std::size_t i = 0, count = 1 + random.below(3); i < count; ++i) {
            const double start = i == 0 ? first : random.uniform(first, seconds * 0.9);
            pieces.emplace_back(start, start + random.uniform(6, 30));
        }
        break;
    case DepartureKind::drift:
        pieces.emplace_back(first, seconds);
        break;
    default: // offset, scale, lag: for a while, or until the end
        pieces.emplace_back(first, random.chance(0.5)
                                       ? seconds
                                       : std::min(seconds, first + random.uniform(30, 150)));
        break;
    }
    std::sort(pieces.begin(), pieces.end());
    return pieces;
}

bool inside(const Pieces& pieces, double t) {
    return std::any_of(pieces.begin(), pieces.end(),
                       [&](const auto& p) { return t >= p.first && t < p.second; });
}

struct Damage {
    DepartureKind kind;
    Pieces pieces;
    double amount = 0;  ///< in the unit, for kinds that add
    double factor = 1;  ///< scale
    double seconds = 0; ///< lag
    double sign = 1;
    double end_value = 0; ///< for drop-outs and opens
    double pivot = 0;     ///< scale about this value
};

double damaged(const Damage& damage, const Channel& channel, double dt, double t, double clean,
               Random& random) {
    if (!inside(damage.pieces, t))
        return clean;
    switch (damage.kind) {
    case DepartureKind::drop_out:
    case DepartureKind::spike:
    case DepartureKind::offset:
        return clean + damage.sign * damage.amount;
    case DepartureKind::end_of_range:
        return damage.end_value;
    case DepartureKind::stuck:
        for (const auto& piece : damage.pieces)
            if (t >= piece.first && t < piece.second)
                return at(channel, dt, piece.first);
        return clean;
    case DepartureKind::drift: {
        const auto& piece = damage.pieces.front();
        return clean + damage.sign * damage.amount * (t - piece.first) /
                           std::max(1.0, piece.second - piece.first);
    }
    case DepartureKind::lag: {
        // A slow sensor: first order, approached by the mean over the time before.
        double sum = 0;
        double weight = 0;
        for (int k = 0; k <= 40; ++k) {
            const double back = damage.seconds * 0.1 * k;
            const double w = std::exp(-0.1 * k);
            sum += w * at(channel, dt, t - back);
            weight += w;
        }
        return sum / weight;
    }
    case DepartureKind::noise:
        return clean + random.normal(damage.amount);
    case DepartureKind::scale:
        return damage.pivot + (clean - damage.pivot) * damage.factor;
    default:
        return clean;
    }
}

Series shell(const Channel& channel) {
    Series series;
    series.ecu = "7E8";
    series.id = channel.id;
    series.index = channel.index;
    series.name = channel.name;
    series.key = channel.key;
    series.unit = channel.unit;
    series.step = channel.step;
    unsigned decimals = 0;
    for (double s = channel.step; s < 0.999 && decimals < 6; s *= 10)
        ++decimals;
    series.decimals = static_cast<std::uint8_t>(decimals);
    series.values = telltale::run::Values(series.decimals);
    series.has_ends = true;
    series.low = channel.low;
    series.high = channel.high;
    return series;
}

double own_unit(const Channel& channel) {
    return std::sqrt(channel.noise * channel.noise + channel.own * channel.own +
                     channel.step * channel.step);
}

double spread(const Channel& channel) {
    const auto [low, high] = std::minmax_element(channel.grid.begin(), channel.grid.end());
    return *high - *low;
}

} // namespace

Pair make_pair(const Scenario& scenario) {
    Random random(scenario.seed);
    const double seconds = scenario.seconds > 0 ? scenario.seconds : random.uniform(240, 720);
    const std::size_t wanted = scenario.signals > 0 ? scenario.signals : 8 + random.below(33);
    const double rate = scenario.samples_a_second > 0
                            ? scenario.samples_a_second
                            : std::exp(random.uniform(std::log(2.0), std::log(20.0)));
    World world = scenario.family == Family::vehicle ? make_vehicle(random, seconds)
                                                     : make_latent(random, seconds, wanted);
    // Which of the vehicle's signals were recorded: engine speed and a random choice of the rest.
    std::vector<std::size_t> kept(world.good.channels.size());
    std::iota(kept.begin(), kept.end(), std::size_t{0});
    for (std::size_t i = kept.size(); i > 2; --i)
        std::swap(kept[i - 1], kept[1 + random.below(i - 1)]);
    if (kept.size() > wanted)
        kept.resize(wanted);
    std::sort(kept.begin(), kept.end());

    Pair pair;
    pair.truth.faulty = scenario.faulty;
    pair.about = world.good.about;
    const double dt = world.good.dt;
    const Polling good_polling = draw_polling(random, kept.size(), rate);
    Polling bad_polling = good_polling; // the same recorder, begun at another moment
    if (random.chance(0.2))
        bad_polling = draw_polling(random, kept.size(), rate);
    const auto good_times = poll_times(random, good_polling, seconds);
    const auto bad_times = poll_times(random, bad_polling, seconds);

    Damage damage{scenario.kind, {}, 0, 1, 0, 1, 0, 0};
    std::size_t victim = 0;
    if (scenario.faulty) {
        std::vector<std::size_t> able;
        for (std::size_t k = 0; k < kept.size(); ++k) {
            const Channel& channel = world.bad.channels[kept[k]];
            const double moves = spread(channel) / own_unit(channel);
            const bool needs_movement = scenario.kind == DepartureKind::stuck ||
                                        scenario.kind == DepartureKind::lag ||
                                        scenario.kind == DepartureKind::scale;
            if (channel.can_fail && bad_times[k].size() > 60 &&
                (!needs_movement || moves > 3 * scenario.size))
                able.push_back(k);
        }
        if (able.empty())
            able.push_back(0);
        victim = able[random.below(able.size())];
        const Channel& channel = world.bad.channels[kept[victim]];
        const double unit = own_unit(channel);
        const double interval = seconds / static_cast<double>(bad_times[victim].size());
        damage.pieces = draw_pieces(random, scenario.kind, seconds, interval);
        damage.amount = scenario.size * unit;
        damage.sign = random.chance(0.5) ? 1 : -1;
        // Where adding would run into an end of the range, take the other side.
        const double typical = channel.grid[channel.grid.size() / 2];
        if (typical + damage.sign * damage.amount > channel.high ||
            typical + damage.sign * damage.amount < channel.low)
            damage.sign = -damage.sign;
        damage.end_value = random.chance(0.5) ? channel.low : channel.high;
        if (std::abs(damage.end_value - typical) < 3 * unit)
            damage.end_value = damage.end_value == channel.low ? channel.high : channel.low;
        damage.pivot = channel.low < 0 ? 0 : channel.low;
        // Lag and scale are sized by trying: the wanted root mean square within the pieces.
        if (scenario.kind == DepartureKind::lag || scenario.kind == DepartureKind::scale) {
            double low = 0;
            double high = scenario.kind == DepartureKind::lag ? 6 : 0.6;
            for (int step = 0; step < 12; ++step) {
                const double middle = (low + high) / 2;
                damage.seconds = middle;
                damage.factor = 1 + damage.sign * middle;
                double sum = 0;
                std::size_t count = 0;
                for (double t = damage.pieces.front().first; t < damage.pieces.front().second;
                     t += 0.5) {
                    const double clean = at(channel, dt, t);
                    const double change = damaged(damage, channel, dt, t, clean, random) - clean;
                    sum += change * change;
                    ++count;
                }
                const double rms =
                    std::sqrt(sum / static_cast<double>(std::max<std::size_t>(1, count)));
                (rms < damage.amount ? low : high) = middle;
            }
        }
        pair.truth.series = victim;
        pair.truth.kind = scenario.kind;
        pair.truth.unit_size = unit;
    }

    const bool with_consequences = scenario.faulty && random.chance(0.3);
    const std::size_t touched_channel = scenario.faulty ? kept[victim] : 0;
    double squares = 0;
    for (std::size_t k = 0; k < kept.size(); ++k) {
        for (const bool is_bad : {false, true}) {
            const Recording& recording = is_bad ? world.bad : world.good;
            const Channel& channel = recording.channels[kept[k]];
            Series series = shell(channel);
            Random noise(scenario.seed * 7919 + k * 2 + (is_bad ? 1 : 0));
            Random fault_noise(scenario.seed * 104729 + k);
            for (const double t : is_bad ? bad_times[k] : good_times[k]) {
                double value = at(channel, recording.dt, t);
                const double clean = value;
                const double sensor = noise.normal(channel.noise);
                double reading = clean + sensor;
                if (is_bad && scenario.faulty && k == victim) {
                    const bool hit = inside(damage.pieces, t);
                    value = damaged(damage, channel, recording.dt, t, clean, fault_noise);
                    const bool frozen = scenario.kind == DepartureKind::stuck ||
                                        scenario.kind == DepartureKind::end_of_range;
                    reading = value + (hit && frozen ? 0 : sensor);
                    if (hit) {
                        const double change =
                            quantised(channel, reading) - quantised(channel, clean + sensor);
                        squares += change * change;
                        ++pair.truth.touched;
                        const Time when = static_cast<Time>(t * 1e9);
                        if (pair.truth.touched == 1)
                            pair.truth.start = when;
                        pair.truth.end = when;
                    }
                } else if (is_bad && with_consequences) {
                    for (const Follow& follow : world.follows) {
                        if (follow.from != touched_channel || follow.to != kept[k])
                            continue;
                        const double when = t - follow.delay;
                        const Channel& source = world.bad.channels[follow.from];
                        const double right = at(source, recording.dt, when);
                        const double wrong =
                            damaged(damage, source, recording.dt, when, right, fault_noise);
                        const double scale = std::max(std::abs(right), 5 * source.step);
                        reading += follow.gain * std::clamp((wrong - right) / scale, -1.0, 1.0);
                        if (std::find(pair.truth.after.begin(), pair.truth.after.end(), k) ==
                            pair.truth.after.end())
                            pair.truth.after.push_back(k);
                    }
                }
                series.add(static_cast<Time>(t * 1e9), quantised(channel, reading));
            }
            (is_bad ? pair.bad : pair.good).series.push_back(std::move(series));
        }
    }
    if (pair.truth.touched > 0)
        pair.truth.size =
            std::sqrt(squares / static_cast<double>(pair.truth.touched)) / pair.truth.unit_size;
    pair.good.name = "good";
    pair.bad.name = "bad";
    pair.good.settle();
    pair.bad.settle();
    return pair;
}

} // namespace bench

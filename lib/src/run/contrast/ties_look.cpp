// SPDX-License-Identifier: Apache-2.0
// Whose fault it is: which signal alone explains, by one amount of it, what broke and what did not.
#include <algorithm>
#include <cmath>
#include <span>

#include "ties_parts.hpp"

namespace telltale::run {

/// How much the target changes, in its unit, for a change of one in a partner's unit.
double Ties::slope(const Tie& tie, std::size_t place, const Grid& grid, std::size_t from,
                   std::size_t to) const {
    const Terms& all = tie.beta.back();
    const double beta = all[place + 1] / tie.width[place];
    if (tie.curved) {
        double sum = 0;
        std::size_t count = 0;
        const std::size_t every = std::max<std::size_t>(1, (to - from) / 8);
        for (std::size_t i = from; i < to; i += every) {
            Terms x;
            terms_at(tie, grid, i, x);
            double here = all[place + 1];
            for (std::size_t q = 0; q < tie.count; ++q)
                here += all[product_at(tie, place, q)] * x[q + 1] * (q == place ? 2 : 1);
            if (std::isnan(here))
                continue;
            sum += here / tie.width[place];
            ++count;
        }
        return count > 0 ? sum / static_cast<double>(count) : beta;
    }
    if (!tie.powers)
        return beta;
    double sum = 0;
    std::size_t count = 0;
    for (std::size_t i = from; i < to; ++i) {
        const double ratio = double{grid.logs[tie.target][i] - grid.logs[tie.by[place]][i]};
        if (!std::isnan(ratio)) {
            sum += ratio;
            ++count;
        }
    }
    return count > 0 ? beta * std::exp(sum / static_cast<double>(count)) : beta;
}

bool Ties::holds(std::size_t tie, std::size_t signal) const {
    const auto end = ties_[tie].by.begin() + ties_[tie].count;
    return std::find(ties_[tie].by.begin(), end, signal) != end;
}

/// The tie that aims at `signal` and says much the same as `tie`; npos if there is none.
std::size_t Ties::turned_to(std::size_t signal, std::size_t tie) const {
    if (ties_[tie].target == signal)
        return tie;
    for (const std::size_t own : of_[signal])
        if (!ties_[own].witness && holds(own, ties_[tie].target))
            return own;
    return static_cast<std::size_t>(-1);
}

/// Of two signals that only their own courses can tell apart: whether `a` is the stranger one. A
/// fault comes with a leap, or with noise, or makes a signal come late, never early.
bool Ties::stranger(std::size_t a, std::size_t b, std::span<const Broken> where) const {
    const Grid& grid = grids_[run_];
    const std::vector<float>& xa = grid.plain[a];
    const std::vector<float>& xb = grid.plain[b];
    std::vector<char> inside(grid.size, 0);
    for (const Broken& one : where) {
        const auto from = static_cast<std::size_t>(std::max(0.0, one.from / grid.spacing));
        const auto to = static_cast<std::size_t>(std::max(0.0, one.to / grid.spacing)) + 1;
        for (std::size_t i = from > 4 ? from - 4 : 1; i < std::min(grid.size, to + 4); ++i)
            inside[i] = 1;
    }
    const auto leap = [&](const std::vector<float>& x, std::size_t signal) {
        double most = 0;
        for (std::size_t i = 1; i < grid.size; ++i)
            if (inside[i] != 0)
                most = std::fmax(most, double{std::abs(x[i] - x[i - 1])});
        return most / std::max(step_[signal], leap_[signal]);
    };
    const auto stir = [&](const std::vector<float>& x, std::size_t signal) {
        double sum = 0;
        double rest = 0;
        std::size_t count = 0;
        std::size_t others = 0;
        for (std::size_t i = 1; i < grid.size; ++i) {
            const double moved = double{std::abs(x[i] - x[i - 1])};
            if (std::isnan(moved))
                continue;
            (inside[i] != 0 ? sum : rest) += moved;
            (inside[i] != 0 ? count : others) += 1;
        }
        if (count == 0 || others == 0)
            return 1.0;
        const double usual = std::max(0.05 * step_[signal], rest / static_cast<double>(others));
        return sum / static_cast<double>(count) / usual;
    };
    // How many steps of its scaling it goes beyond all that the good run had.
    const auto beyond = [&](const std::vector<float>& x, std::size_t signal) {
        double most = 0;
        for (std::size_t i = 0; i < grid.size; ++i)
            if (inside[i] != 0) // not-a-number is beyond nothing
                most = std::max(
                    {most, lowest_[signal] - double{x[i]}, double{x[i]} - highest_[signal]});
        return most / step_[signal];
    };
    constexpr double far_beyond = 3;
    constexpr double hardly = 1.5;
    const double beyond_a = beyond(xa, a);
    const double beyond_b = beyond(xb, b);
    if (std::max(beyond_a, beyond_b) > far_beyond && std::min(beyond_a, beyond_b) < hardly)
        return beyond_a > beyond_b;
    const double stir_a = stir(xa, a);
    const double stir_b = stir(xb, b);
    // What does not move at all while the other does.
    constexpr double still = 0.1;
    constexpr double moves = 0.3;
    if (std::min(stir_a, stir_b) < still && std::max(stir_a, stir_b) > moves)
        return stir_a < stir_b;
    constexpr double apart = 0.5;
    constexpr double clear = 0.4;
    const double late_a = lateness(a, b, inside);
    const double late_b = lateness(b, a, inside);
    if (std::abs(late_a - late_b) > apart && std::max(std::abs(late_a), std::abs(late_b)) > clear)
        return late_a < late_b;
    constexpr double clearly = 1.3;
    const double leap_a = leap(xa, a);
    const double leap_b = leap(xb, b);
    if (std::max(leap_a, leap_b) > 1 &&
        std::max(leap_a, leap_b) > clearly * std::min(leap_a, leap_b))
        return leap_a > leap_b;
    return stir_a > clearly && stir_a > clearly * stir_b;
}

/// How far a signal is low while it rises and high while it falls, beside what its closest tie to
/// `other` makes expect: -1 when that is all.
double Ties::lateness(std::size_t signal, std::size_t other,
                      const std::vector<char>& inside) const {
    const Grid& grid = grids_[run_];
    for (const std::size_t t : of_[signal]) {
        if (ties_[t].witness || !holds(t, other))
            continue;
        const std::vector<float>& y = column(grid, signal, ties_[t].powers);
        double together = 0;
        double squares = 0;
        double slopes = 0;
        double before = nothing;
        double here = nothing;
        for (std::size_t i = 0; i + 1 < grid.size; ++i) {
            const double after = expect(ties_[t], grid, i + 1, ties_[t].beta.back());
            const double moved = after - before;
            const double off = double{y[i]} - views_[t].day.of(here);
            before = here;
            here = after;
            if (inside[i] == 0 || std::isnan(moved * off))
                continue;
            together += moved * off;
            squares += off * off;
            slopes += moved * moved;
        }
        return squares > 0 && slopes > 0 ? together / std::sqrt(squares * slopes) : 0;
    }
    return 0;
}

/// How much of the movements of a tie in a window one of its partners makes: 0 to 1.
double Ties::share(const Tie& tie, std::size_t place, const Grid& grid, std::size_t from,
                   std::size_t to) const {
    double own = 0;
    double all = 0;
    for (std::size_t p = 0; p < tie.count; ++p) {
        const std::vector<float>& x = grid.plain[tie.by[p]];
        double moved = 0;
        for (std::size_t i = from + 1; i < to; ++i)
            moved = moved + std::fmax(0.0, double{std::abs(x[i] - x[i - 1])}); // not-a-number: 0
        moved *= std::abs(slope(tie, p, grid, from, to));
        all += moved;
        own = p == place ? moved : own;
    }
    return all > 0 ? own / all : 0;
}

/// What a change of one in a signal's unit (a second, of lateness) does to a tie's score in a
/// window.
double Ties::pull(std::size_t tie, std::size_t signal, const Grid& grid, std::size_t from,
                  std::size_t to, double unit, Way way) const {
    const Tie& one = ties_[tie];
    if (one.target == signal)
        return 1 / unit;
    for (std::size_t p = 0; p < one.count; ++p)
        if (one.by[p] == signal)
            return -(way == Way::late ? share(one, p, grid, from, to)
                                      : slope(one, p, grid, from, to)) /
                   unit;
    return 0;
}

/// The same where an ECU makes others of that signal, which go astray with it.
double Ties::pull_with_made(std::size_t tie, std::size_t signal, const Grid& grid, std::size_t from,
                            std::size_t to, double unit, Way way) const {
    double sum = pull(tie, signal, grid, from, to, unit, way);
    for (const std::size_t made : made_[signal]) {
        const double of_made = pull(tie, made, grid, from, to, unit, way);
        if (of_made == 0)
            continue;
        // By the closest tie that tells the one by the other.
        const auto amount = [&](std::size_t target, std::size_t by) {
            for (const std::size_t t : of_[target])
                for (std::size_t p = 0; p < ties_[t].count; ++p)
                    if (ties_[t].by[p] == by)
                        return way == Way::late ? share(ties_[t], p, grid, from, to)
                                                : slope(ties_[t], p, grid, from, to);
            return 0.0;
        };
        const double forth = amount(made, signal);
        const double back = forth == 0 ? amount(signal, made) : 0;
        sum += of_made * (back != 0 ? 1 / back : forth);
    }
    return sum;
}

std::vector<Ties::Broken> Ties::look(const std::vector<char>& barred) const {
    const Grid& grid = grids_[run_];
    std::vector<std::size_t> usable;
    for (std::size_t t = 0; t < ties_.size(); ++t) {
        bool free = barred[ties_[t].target] == 0;
        for (std::size_t p = 0; p < ties_[t].count; ++p)
            free = free && barred[ties_[t].by[p]] == 0;
        if (free)
            usable.push_back(t);
    }
    constexpr double usual = 0.35; // of a score, where nothing is wrong
    constexpr double most_cost = 9;
    struct Choice {
        std::uint16_t signal;
        float gain;      // how much less is left to explain
        float score = 0; // of the strongest tie that aims at it; 0: it could only be a rival
        std::uint32_t tie = 0;
    };
    struct Strange {
        std::uint8_t sight;
        std::uint32_t at;
        std::vector<Choice> choices;
        float most = 0;
        float whole = 0;
        std::size_t broke = 0; // ties
    };
    struct Told {
        std::size_t tie;
        double score;
        std::vector<double> pulls; // of each candidate
        std::vector<double> with;  // and of what an ECU makes of it; empty if of none
    };
    std::vector<Strange> strange;
    std::vector<std::size_t> candidates;
    std::vector<Told> seen;
    for (std::size_t s = 0; s < sights; ++s) {
        const std::size_t width = points(s, grid.spacing);
        const std::size_t stride = stride_of(width);
        const Way way = way_of(s);
        const bool rough = way == Way::rough;
        std::size_t windows = 0;
        for (const std::size_t t : usable)
            windows = std::max(windows, views_[t].score[s].size());
        for (std::size_t j = 0; j < windows; ++j) {
            candidates.clear();
            const auto score_of = [&](std::size_t t) {
                return j < views_[t].score[s].size() ? views_[t].score[s][j] : missing;
            };
            const auto breaks = [&](std::size_t t) {
                return ties_[t].plain[s] && std::abs(score_of(t)) >= 1; // not-a-number is not
            };
            const auto add = [&](std::size_t signal) {
                if (candidates.size() < 12 &&
                    std::find(candidates.begin(), candidates.end(), signal) == candidates.end())
                    candidates.push_back(signal);
            };
            for (const std::size_t t : usable)
                if (breaks(t)) {
                    add(ties_[t].target);
                    for (std::size_t p = 0; p < ties_[t].count; ++p)
                        add(ties_[t].by[p]);
                }
            if (candidates.empty())
                continue;
            const std::size_t broken = candidates.size();
            for (std::size_t k = 0; k < made_.size(); ++k)
                for (std::size_t c = 0; c < broken; ++c)
                    if (std::find(made_[k].begin(), made_[k].end(), candidates[c]) !=
                        made_[k].end())
                        add(k);
            const std::size_t from = j * stride;
            const std::size_t to = std::min(grid.size, from + width);
            seen.clear();
            const bool several =
                std::any_of(candidates.begin(), candidates.end(),
                            [&](std::size_t signal) { return !made_[signal].empty(); });
            double nothing_wrong = 0;
            for (const std::size_t t : usable) {
                const double score = double{score_of(t)};
                if (std::isnan(score))
                    continue;
                Told one{t, rough ? std::max(0.0, score - usual) : score, {}, {}};
                bool counts = false;
                const double unit = double{views_[t].unit[s][j]};
                for (const std::size_t signal : candidates) {
                    double by = pull(t, signal, grid, from, to, unit, way);
                    if (rough)
                        by = std::abs(by);
                    counts = counts || by != 0;
                    one.pulls.push_back(by);
                }
                for (std::size_t c = 0; several && c < candidates.size(); ++c) {
                    double by = one.pulls[c];
                    if (!made_[candidates[c]].empty())
                        by = pull_with_made(t, candidates[c], grid, from, to, unit, way);
                    one.with.push_back(rough ? std::abs(by) : by);
                    counts = counts || by != 0;
                }
                if (!counts)
                    continue;
                nothing_wrong += std::min(most_cost, std::pow(one.score / usual, 2));
                seen.push_back(std::move(one));
            }
            // How much each signal alone explains of what broke and what did not.
            Strange window{static_cast<std::uint8_t>(s), static_cast<std::uint32_t>(j), {}};
            for (std::size_t c = 0; c < candidates.size(); ++c) {
                double least = nothing_wrong;
                Choice choice{static_cast<std::uint16_t>(candidates[c]), 0};
                for (const Told& source : seen) {
                    if (source.pulls[c] == 0 || !breaks(source.tie))
                        continue;
                    constexpr float turned = 0.9F; // the same relation, turned round
                    const std::size_t own = turned_to(candidates[c], source.tie);
                    const auto size = static_cast<float>(std::abs(source.score));
                    const float counted = own == source.tie ? size : turned * size;
                    if (own < ties_.size() && counted > choice.score) {
                        choice.score = counted;
                        choice.tie = static_cast<std::uint32_t>(own);
                    }
                }
                const auto explain = [&](std::vector<double> Told::*pulls) {
                    for (const Told& source : seen) {
                        if ((source.*pulls)[c] == 0 ||
                            static_cast<float>(std::abs(source.score)) < 1)
                            continue;
                        const double by = source.score / (source.*pulls)[c];
                        if (way == Way::late && by < 0)
                            continue; // nothing comes early
                        double cost = 0;
                        for (const Told& one : seen)
                            cost += std::min(
                                most_cost, std::pow((one.score - by * (one.*pulls)[c]) / usual, 2));
                        least = std::min(least, cost);
                    }
                };
                explain(&Told::pulls);
                if (!made_[candidates[c]].empty())
                    explain(&Told::with);
                choice.gain = static_cast<float>(nothing_wrong - least);
                window.most = std::max(window.most, choice.gain);
                if (choice.gain > 0)
                    window.choices.push_back(choice);
            }
            window.whole = static_cast<float>(nothing_wrong);
            for (const Told& one : seen)
                window.broke += breaks(one.tie) ? 1U : 0U;
            strange.push_back(std::move(window));
        }
    }
    // The signal that explains most of all that is strange; then what is left.
    std::vector<Broken> found;
    if (strange.empty())
        return found;
    std::vector<char> explained(strange.size(), 0);
    std::vector<double> gain(of_.size());
    constexpr int most_culprits = 6;
    for (int round = 0; round < most_culprits; ++round) {
        std::fill(gain.begin(), gain.end(), 0);
        for (std::size_t w = 0; w < strange.size(); ++w)
            if (explained[w] == 0)
                for (const Choice& choice : strange[w].choices)
                    gain[choice.signal] += choice.score > 0 ? double{choice.gain} : 0;
        auto culprit =
            static_cast<std::size_t>(std::max_element(gain.begin(), gain.end()) - gain.begin());
        if (!(gain[culprit] > 0))
            break;
        // Of those that explain as much, the one whose own ties broke most.
        constexpr double alike = 0.93;
        std::vector<float> own(of_.size(), 0);
        for (std::size_t w = 0; w < strange.size(); ++w)
            if (explained[w] == 0)
                for (const Choice& choice : strange[w].choices)
                    own[choice.signal] = std::max(own[choice.signal], choice.score);
        const double enough = alike * gain[culprit];
        for (std::size_t k = 0; k < gain.size(); ++k)
            if (gain[k] > enough && own[culprit] < 1 && own[k] >= 1)
                culprit = k;
        const std::size_t before = found.size();
        Broken open;
        std::uint8_t sight = 0;
        std::size_t last = 0;
        double told = 0;       // of what is strange there
        double whole = 0;      // all of it
        std::size_t broke = 0; // how many ties at most
        const auto close_it = [&] {
            // One signal alone explains what a fault of one sensor breaks, and seldom breaks one
            // tie only.
            constexpr double well = 0.8;
            const double fit = whole > 0 ? std::min(1.0, told / whole / well) : 0.0;
            const double seen_by = broke < 2 ? 0.7 : broke < 3 ? 0.85 : 1.0;
            open.score *= static_cast<float>(fit * fit * seen_by);
            if (open.score >= 1)
                found.push_back(open);
            open = {};
            told = whole = 0;
            broke = 0;
        };
        for (std::size_t w = 0; w < strange.size(); ++w) {
            if (explained[w] != 0)
                continue;
            const auto choice = std::find_if(strange[w].choices.begin(), strange[w].choices.end(),
                                             [&](const Choice& c) { return c.signal == culprit; });
            if (choice == strange[w].choices.end() || choice->gain < 0.7F * strange[w].most)
                continue;
            explained[w] = 1;
            const std::size_t s = strange[w].sight;
            const std::size_t width = points(s, grid.spacing);
            const std::size_t stride = stride_of(width);
            const std::size_t at = strange[w].at;
            if (open.to <= open.from || s != sight || (at - last) * stride > width) {
                close_it();
                open.signal = culprit;
                open.from = static_cast<double>(at * stride) * grid.spacing;
                open.way = way_of(s);
                sight = static_cast<std::uint8_t>(s);
            }
            last = at;
            told += double{choice->gain};
            whole += double{strange[w].whole};
            broke = std::max(broke, strange[w].broke);
            open.to = static_cast<double>(at * stride + width) * grid.spacing;
            if (choice->score > open.score) {
                open.score = choice->score;
                open.tie = choice->tie;
            }
        }
        close_it();
        // In what it explains, another may do nearly as well.
        std::vector<double> others(of_.size(), 0);
        for (std::size_t w = 0; w < strange.size(); ++w)
            if (explained[w] == 1) {
                explained[w] = 2;
                for (const Choice& choice : strange[w].choices)
                    others[choice.signal] += double{choice.gain};
            }
        const double mine = others[culprit];
        others[culprit] = 0;
        std::sort(found.begin() + static_cast<std::ptrdiff_t>(before), found.end(),
                  [](const Broken& a, const Broken& b) { return a.score > b.score; });
        for (std::size_t k = 0; k < others.size() && before < found.size(); ++k) {
            if (others[k] <= alike * mine || others[k] <= 0 ||
                !stranger(k, found[before].signal, std::span(found).subspan(before)))
                continue;
            for (std::size_t i = before; i < found.size(); ++i) {
                const std::size_t nearest = turned_to(k, found[i].tie);
                if (nearest < ties_.size()) {
                    found[i].tie = nearest;
                    found[i].signal = k;
                }
            }
        }
        if (mine <= 0)
            break;
        others[culprit] = mine;
        for (std::size_t i = before; i < found.size(); ++i) {
            // What others are made of explains them less exactly.
            constexpr double nearly = 0.7;
            constexpr double with_made = 0.5;
            double most = 0;
            for (std::size_t k = 0; k < others.size(); ++k)
                if (k != found[i].signal && others[k] > most &&
                    others[k] > (made_[k].empty() ? nearly : with_made) * mine) {
                    most = others[k];
                    found[i].rival = k;
                }
        }
    }
    return found;
}

} // namespace telltale::run

// SPDX-License-Identifier: Apache-2.0
#include "ties.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <span>

#include "regress.hpp"
#include "run/robust.hpp"
#include "solve.hpp"

namespace telltale::run {
namespace {

constexpr std::size_t grid_points = 4000;
constexpr std::size_t most_rows = 1000;
constexpr std::size_t near_rows = 200;
constexpr std::size_t most_signals = 64;
constexpr std::size_t ties_each = 6;
constexpr std::size_t witnesses_each = 3;
constexpr float most_z = 16;
constexpr double slack = 10;
constexpr double strict = 1.65;
constexpr double loosest = 0.16;
constexpr double looseness = 16;
constexpr double noisy = 1.25;
constexpr double unsureness = 4; // standard errors
constexpr std::array<double, Ties::sights> floors{2.6, 2.2, 1.8, 1.5, 1.2, 2.2, 2.0, 6.0, 6.0};
/// A moment may have many reasons; what lasts has fewer.
constexpr std::array<double, Ties::sights> caution{1.6, 1.25, 1, 1, 1, 1.1, 1, 1.35, 1.35};

/// A level that is strange, by what it was in the good run. What wanders there wanders further
/// elsewhere.
double level_limit(std::span<const float> seen, std::size_t sight) {
    constexpr std::array<double, Ties::level_widths.size()> base{4.0, 2.4, 1.4, 1.0, 0.8};
    constexpr double beyond = 1.4;
    double most = 0;
    double squares = 0;
    std::size_t count = 1;
    for (const float v : seen) {
        if (std::isnan(v))
            continue;
        most = std::max(most, double{std::abs(v)});
        squares += double{v} * double{v};
        ++count;
    }
    const double usual = std::sqrt(squares / static_cast<double>(count));
    return std::max(beyond * most, base[sight] + 3 * usual + 12 * usual * usual);
}

/// How much of a target's squares some columns tell, by their Gram matrix's factor and what each
/// has in common with the target.
double told_by(std::span<const double> factored, std::span<const double> moment) {
    std::array<double, 9> solved{};
    std::copy(moment.begin(), moment.end(), solved.begin());
    substitute(factored, moment.size(), {solved.data(), moment.size()});
    double told = 0;
    for (std::size_t i = 0; i < moment.size(); ++i)
        told += solved[i] * moment[i];
    return told;
}

std::vector<double> finite(std::span<const float> values) {
    std::vector<double> out;
    out.reserve(values.size());
    for (const float v : values)
        if (!std::isnan(v))
            out.push_back(double{v});
    return out;
}

/// Puts the inverse of a small symmetric matrix in its place. False when it has none.
bool invert(std::span<double> a, std::size_t n) {
    std::array<double, Ties::most_partners * Ties::most_partners> out{};
    if (!factor(a, n))
        return false;
    for (std::size_t k = 0; k < n; ++k) {
        out[k * n + k] = 1;
        substitute(a, n, {&out[k * n], n});
    }
    std::copy_n(out.begin(), n * n, a.begin());
    return true;
}

} // namespace

Ties::Grid Ties::grid_of(const Drive& drive, const Survey& survey) const {
    Grid grid;
    const double length = std::max(1e-3, drive.seconds());
    grid.spacing = std::max(0.25, length / static_cast<double>(grid_points));
    grid.size = std::min(grid_points, static_cast<std::size_t>(length / grid.spacing) + 1);
    grid.plain.resize(able_.size());
    grid.logs.resize(able_.size());
    for (std::size_t k = 0; k < able_.size(); ++k) {
        if (able_[k] == 0 || !drive.track(k).present())
            continue;
        const Track& track = drive.track(k);
        Cursor cursor(track);
        std::vector<float>& plain = grid.plain[k];
        plain.resize(grid.size);
        std::size_t next = 0;
        for (std::size_t i = 0; i < grid.size; ++i) {
            const double t = static_cast<double>(i) * grid.spacing;
            plain[i] = cursor.at(t);
            // The mean where there are several samples.
            double sum = 0;
            std::size_t count = 0;
            while (next < track.size() && track.time(next) < t - grid.spacing / 2)
                ++next;
            for (; next < track.size() && track.time(next) < t + grid.spacing / 2; ++next) {
                sum += double{track.value(next)};
                ++count;
            }
            if (count >= 3)
                plain[i] = static_cast<float>(sum / static_cast<double>(count));
        }
        if (std::isnan(shift_[k]))
            continue;
        grid.logs[k].resize(grid.size);
        for (std::size_t i = 0; i < grid.size; ++i) {
            const double v = double{plain[i]} + shift_[k];
            grid.logs[k][i] = v > floor_[k] ? static_cast<float>(std::log(v)) : missing;
        }
    }
    // The first seconds, and an engine at rest that the good run never had so.
    grid.aside.assign(grid.size, 0);
    grid.block.resize(grid.size);
    for (std::size_t i = 0; i < grid.size; ++i) {
        const double t = static_cast<double>(i) * grid.spacing;
        grid.block[i] = static_cast<std::uint8_t>(drive.block(t) - drive.first_block());
        grid.aside[i] = t < 3 ? 1 : 0;
    }
    // An engine far colder than the good run ever had it runs otherwise; one temperature that says
    // so among others that do not is no cold engine.
    constexpr float warm = 50;
    constexpr float hot = 150;
    constexpr float far = 15;
    std::vector<std::size_t> engine;
    for (std::size_t k = 0; k < able_.size(); ++k)
        if (!grid.plain[k].empty() && drive.track(k).series().unit == Unit::celsius &&
            survey.range(k).known && survey.range(k).low > warm && survey.range(k).high < hot)
            engine.push_back(k);
    for (std::size_t i = 0; i < grid.size && !engine.empty(); ++i) {
        const auto cold = std::count_if(engine.begin(), engine.end(), [&](std::size_t k) {
            return grid.plain[k][i] < survey.range(k).low - far;
        });
        if (2 * static_cast<std::size_t>(cold) > engine.size())
            grid.aside[i] = 1;
    }
    if (survey.least_rpm > 0 && !grid.plain[static_cast<std::size_t>(survey.rpm)].empty()) {
        const std::vector<float>& rpm = grid.plain[static_cast<std::size_t>(survey.rpm)];
        const auto reach = static_cast<std::size_t>(2 / grid.spacing) + 1;
        for (std::size_t i = 0; i < grid.size; ++i)
            if (rpm[i] < survey.least_rpm)
                for (std::size_t k = i > reach ? i - reach : 0;
                     k < std::min(grid.size, i + reach + 1); ++k)
                    grid.aside[k] = 1;
    }
    return grid;
}

/// Which signals go closely with which, by the correlations of the good run.
void Ties::search(const Grid& good, bool powers, std::vector<Tie>& out) const {
    const std::size_t n = able_.size();
    std::vector<std::size_t> who;
    for (std::size_t k = 0; k < n; ++k)
        if (able_[k] != 0 && !column(good, k, powers).empty() && (powers ? log_sd_[k] : sd_[k]) > 0)
            who.push_back(k);
    const std::size_t m = who.size();
    if (m < 2)
        return;
    const std::size_t stride = std::max<std::size_t>(1, good.size / 1500);
    const std::size_t rows = good.size / stride;
    std::vector<float> x(m * rows);
    std::vector<float> there(m * rows);
    for (std::size_t a = 0; a < m; ++a) {
        const std::vector<float>& values = column(good, who[a], powers);
        const auto mean = static_cast<float>(powers ? log_mean_[who[a]] : mean_[who[a]]);
        const auto sd = static_cast<float>(powers ? log_sd_[who[a]] : sd_[who[a]]);
        for (std::size_t i = 0; i < rows; ++i) {
            const float v = values[i * stride];
            const bool counts = !std::isnan(v) && good.aside[i * stride] == 0;
            x[a * rows + i] = counts ? std::clamp((v - mean) / sd, -6.0F, 6.0F) : 0.0F;
            there[a * rows + i] = counts ? 1.0F : 0.0F;
        }
    }
    std::vector<double> r(m * m, 0);
    for (std::size_t a = 0; a < m; ++a)
        for (std::size_t b = 0; b <= a; ++b) {
            float products = 0;
            float as = 0;
            float bs = 0;
            float both = 0;
            const float* const xa = &x[a * rows];
            const float* const xb = &x[b * rows];
            const float* const ta = &there[a * rows];
            const float* const tb = &there[b * rows];
            for (std::size_t i = 0; i < rows; ++i) {
                products += xa[i] * xb[i];
                as += xa[i] * xa[i] * tb[i];
                bs += xb[i] * xb[i] * ta[i];
                both += ta[i] * tb[i];
            }
            const double scale = std::sqrt(double{as} * double{bs});
            r[a * m + b] = r[b * m + a] =
                both > 0.3F * static_cast<float>(rows) && scale > 0 ? double{products} / scale : 0;
        }
    constexpr double close = 0.2;   // of the variance left, at most
    constexpr double sharper = 0.5; // with one more, at most this part of it
    struct Choice {
        double left = 1;
        std::array<std::size_t, most_partners> by{};
        std::uint8_t count = 0;
    };
    std::vector<Choice> choices;
    const auto left_by = [&](std::size_t target, std::span<const std::size_t> by) {
        std::array<double, most_partners * most_partners> gram{};
        std::array<double, most_partners> moment{};
        const std::size_t p = by.size();
        for (std::size_t i = 0; i < p; ++i) {
            moment[i] = r[target * m + by[i]];
            for (std::size_t j = 0; j < p; ++j)
                gram[i * p + j] = i == j ? 1.001 : r[by[i] * m + by[j]];
        }
        if (!factor({gram.data(), p * p}, p))
            return 1.0;
        return std::max(0.0, 1 - told_by({gram.data(), p * p}, {moment.data(), p}));
    };
    for (std::size_t target = 0; target < m; ++target) {
        choices.clear();
        const bool slow = slow_[who[target]] != 0;
        std::vector<double> pair(m, 1);
        const auto may = [&](std::size_t a) { return a != target && (slow_[who[a]] != 0) == slow; };
        for (std::size_t a = 0; a < m; ++a) {
            if (!may(a))
                continue;
            pair[a] = left_by(target, std::array{a});
            if (pair[a] < close)
                choices.push_back({pair[a], {a}, 1});
        }
        if (!slow) {
            std::vector<Choice> triples;
            for (std::size_t a = 0; a < m; ++a)
                for (std::size_t b = a + 1; b < m; ++b) {
                    if (!may(a) || !may(b))
                        continue;
                    const double left = left_by(target, std::array{a, b});
                    if (left < close && left < sharper * std::min(pair[a], pair[b]))
                        triples.push_back({left, {a, b}, 2});
                }
            std::sort(triples.begin(), triples.end(),
                      [](const Choice& a, const Choice& b) { return a.left < b.left; });
            if (triples.size() > 12)
                triples.resize(12);
            const std::size_t widened = std::min<std::size_t>(4, triples.size());
            for (std::size_t c = 0; c < widened; ++c)
                for (std::size_t a = 0; a < m; ++a) {
                    if (!may(a) || a == triples[c].by[0] || a == triples[c].by[1])
                        continue;
                    Choice wide = triples[c];
                    wide.by[2] = a;
                    wide.count = 3;
                    wide.left = left_by(target, std::span(wide.by));
                    if (wide.left < sharper * triples[c].left)
                        choices.push_back(wide);
                }
            choices.insert(choices.end(), triples.begin(), triples.end());
        }
        std::sort(choices.begin(), choices.end(),
                  [](const Choice& a, const Choice& b) { return a.left < b.left; });
        std::vector<std::size_t> uses(m, 0);
        std::size_t taken = 0;
        for (const Choice& choice : choices) {
            bool often = false;
            for (std::size_t i = 0; i < choice.count; ++i)
                often = often || uses[choice.by[i]] >= 4;
            if (often || taken == 10)
                continue;
            ++taken;
            Tie tie;
            tie.target = static_cast<std::uint16_t>(who[target]);
            tie.count = choice.count;
            tie.powers = powers;
            for (std::size_t i = 0; i < choice.count; ++i) {
                ++uses[choice.by[i]];
                tie.by[i] = static_cast<std::uint16_t>(who[choice.by[i]]);
            }
            std::sort(tie.by.begin(), tie.by.begin() + tie.count);
            out.push_back(tie);
        }
    }
}

/// Which signals tell another by a sum with squares and products of two or three, by the good
/// run's least squares.
void Ties::search_curved(const Grid& good, std::vector<Tie>& out) const {
    std::vector<std::size_t> who;
    for (std::size_t k = 0; k < able_.size(); ++k)
        if (able_[k] != 0 && slow_[k] == 0 && !good.plain[k].empty() && sd_[k] > 0)
            who.push_back(k);
    const std::size_t m = who.size();
    if (m < 3)
        return;
    std::vector<std::size_t> at;
    for (std::size_t i = 0; i < good.size; ++i)
        if (good.aside[i] == 0)
            at.push_back(i);
    constexpr std::size_t most = 450;
    const std::size_t every = std::max<std::size_t>(1, (at.size() + most - 1) / most);
    const std::size_t rows = at.size() / every;
    if (rows < 100)
        return;
    // The columns: each signal, its square, and the products of each two. What is missing says
    // nothing: it stands at the mean.
    using Column = std::vector<float>;
    const std::size_t simple = 2 * m;
    std::vector<Column> columns(simple + m * (m - 1) / 2, Column(rows));
    const auto product = [&](std::size_t a, std::size_t b) {
        if (a > b)
            std::swap(a, b);
        return simple + b * (b - 1) / 2 + a;
    };
    const auto centre = [&](Column& column) {
        float mean = 0;
        for (const float v : column)
            mean += v;
        mean /= static_cast<float>(rows);
        for (float& v : column)
            v -= mean;
    };
    for (std::size_t a = 0; a < m; ++a) {
        for (std::size_t i = 0; i < rows; ++i) {
            const double v =
                (double{good.plain[who[a]][at[i * every]]} - mean_[who[a]]) / sd_[who[a]];
            columns[a][i] = std::isnan(v) ? 0.0F : static_cast<float>(std::clamp(v, -5.0, 5.0));
        }
        centre(columns[a]);
        for (std::size_t b = 0; b <= a; ++b) {
            Column& both = columns[b == a ? m + a : product(a, b)];
            for (std::size_t i = 0; i < rows; ++i)
                both[i] = columns[a][i] * columns[b][i];
            centre(both);
        }
    }
    const auto dot = [&](const Column& a, const Column& b) {
        return double{products_of(a.data(), b.data(), rows)};
    };
    // What each has in common with each that is no product of two.
    std::vector<double> table(columns.size() * simple);
    for (std::size_t i = 0; i < columns.size(); ++i)
        for (std::size_t j = 0; j < simple; ++j)
            table[i * simple + j] =
                j < i && i < simple ? table[j * simple + i] : dot(columns[i], columns[j]);
    const auto common = [&](std::size_t i, std::size_t j) {
        return j < simple   ? table[i * simple + j]
               : i < simple ? table[j * simple + i]
                            : dot(columns[i], columns[j]);
    };
    constexpr std::size_t most_terms_here = 9;
    using Which = std::array<std::size_t, most_terms_here>;
    constexpr std::size_t of_two = 5;
    const auto of_pair = [&](std::size_t a, std::size_t b) {
        return Which{a, b, m + a, product(a, b), m + b};
    };
    std::array<double, most_terms_here * most_terms_here> gram{};
    const auto make_gram = [&](const Which& which, std::size_t n) {
        for (std::size_t i = 0; i < n; ++i)
            for (std::size_t j = 0; j <= i; ++j)
                gram[i * n + j] = common(which[i], which[j]) * (i == j ? 1.001 : 1.0);
        return factor({gram.data(), n * n}, n);
    };
    const auto left_of = [&](const Which& which, std::size_t n, std::size_t target) {
        std::array<double, most_terms_here> moment{};
        for (std::size_t i = 0; i < n; ++i)
            moment[i] = common(which[i], target);
        return std::max(0.0, 1 - told_by({gram.data(), n * n}, {moment.data(), n}) /
                                     std::max(1e-9, common(target, target)));
    };
    struct Choice {
        double left;
        std::array<std::size_t, most_partners> by;
        std::uint8_t count;
    };
    std::vector<std::vector<Choice>> choices(m);
    constexpr double close = 0.15;
    constexpr std::size_t pairs_each = 5;
    constexpr std::size_t widened = 3;
    constexpr std::size_t wide_each = 4;
    const auto keep = [](std::vector<Choice>& list, const Choice& choice, std::size_t most_kept) {
        list.insert(
            std::upper_bound(list.begin(), list.end(), choice,
                             [](const Choice& a, const Choice& b) { return a.left < b.left; }),
            choice);
        if (list.size() > most_kept)
            list.pop_back();
    };
    for (std::size_t a = 0; a < m; ++a)
        for (std::size_t b = a + 1; b < m; ++b) {
            const Which which = of_pair(a, b);
            if (!make_gram(which, of_two))
                continue;
            for (std::size_t target = 0; target < m; ++target)
                if (target != a && target != b)
                    keep(choices[target], {left_of(which, of_two, target), {a, b, 0}, 2},
                         pairs_each);
        }
    for (std::size_t target = 0; target < m; ++target) {
        std::vector<Choice> wide;
        for (std::size_t c = 0; c < std::min(widened, choices[target].size()); ++c) {
            const Choice& pair = choices[target][c];
            const std::size_t a = pair.by[0];
            const std::size_t b = pair.by[1];
            Which which = of_pair(a, b);
            for (std::size_t third = 0; third < m; ++third) {
                if (third == target || third == a || third == b)
                    continue;
                which[of_two] = third;
                which[of_two + 1] = m + third;
                which[of_two + 2] = product(third, a);
                which[of_two + 3] = product(third, b);
                if (make_gram(which, most_terms_here))
                    keep(wide, {left_of(which, most_terms_here, target), {a, b, third}, 3},
                         wide_each);
            }
        }
        std::vector<Choice>& list = choices[target];
        list.insert(list.end(), wide.begin(), wide.end());
        for (const Choice& choice : list) {
            if (choice.left > close)
                continue;
            Tie tie;
            tie.target = static_cast<std::uint16_t>(who[target]);
            tie.count = choice.count;
            tie.curved = true;
            for (std::size_t i = 0; i < choice.count; ++i)
                tie.by[i] = static_cast<std::uint16_t>(who[choice.by[i]]);
            std::sort(tie.by.begin(), tie.by.begin() + tie.count);
            out.push_back(tie);
        }
    }
}

std::size_t Ties::bin_of(double value, double low, double high) {
    const double part = high > low ? (value - low) / (high - low) : 0;
    return std::min(bins - 1, static_cast<std::size_t>(std::max(0.0, part) * bins));
}

/// Whether the good run had a partner near this value for more than a moment.
bool Ties::knows(const Tie& tie, std::size_t place, double value) {
    const double low = tie.low[place];
    const double high = tie.high[place];
    return value >= low && value <= high && // not-a-number is not
           tie.known[place][bin_of(value, low, high)];
}

/// One, its partners about their middles, and of a curved one their squares and products. Returns
/// how many.
std::size_t Ties::terms_of(const Tie& tie, const std::array<double, most_partners>& values,
                           Terms& x) {
    std::array<double, most_partners> u{};
    std::size_t n = 0;
    x[n++] = 1;
    for (std::size_t p = 0; p < tie.count; ++p) {
        u[p] = (values[p] - tie.middle[p]) / tie.width[p];
        x[n++] = u[p];
    }
    for (std::size_t p = 0; p < tie.count && tie.curved; ++p)
        for (std::size_t q = p; q < tie.count; ++q)
            x[n++] = u[p] * u[q];
    return n;
}

std::size_t Ties::terms_at(const Tie& tie, const Grid& grid, std::size_t i, Terms& x) const {
    std::array<double, most_partners> values{};
    for (std::size_t p = 0; p < tie.count; ++p)
        values[p] = double{column(grid, tie.by[p], tie.powers)[i]};
    return terms_of(tie, values, x);
}

double Ties::sum_of(const Terms& x, std::size_t n, const Terms& beta) {
    double sum = 0;
    for (std::size_t k = 0; k < n; ++k)
        sum += beta[k] * x[k];
    return sum;
}

double Ties::expect(const Tie& tie, const Grid& grid, std::size_t i, const Terms& beta) const {
    Terms x;
    const std::size_t n = terms_at(tie, grid, i, x);
    return sum_of(x, n, beta);
}

/// How far its partners are from where they usually are together, squared.
double Ties::distance(const Tie& tie, const Terms& x) {
    double sum = 0;
    for (std::size_t p = 0; p < tie.count; ++p)
        for (std::size_t q = 0; q < tie.count; ++q)
            sum += x[p + 1] * tie.spread[p * tie.count + q] * x[q + 1];
    return sum;
}

/// What was left of it in the good run where its partners were much as in `x`, a block aside.
Ties::Near Ties::near(const Tie& tie, const Terms& x, std::uint8_t aside) {
    constexpr std::size_t some = 12;
    std::array<float, some> closest;
    std::array<float, some> left;
    std::size_t count = 0;
    std::array<float, most_partners> place{};
    for (std::size_t k = 0; k < tie.count; ++k)
        place[k] = static_cast<float>(x[k + 1]);
    // They lie in the order of the first partner: outwards from there, as far as it takes.
    const auto look = [&](std::size_t r) {
        const float* const at = &tie.near_places[r * tie.count];
        const float first = (at[0] - place[0]) * (at[0] - place[0]);
        if (count == some && first >= closest[some - 1])
            return false;
        if (tie.near_block[r] == aside)
            return true;
        float distance = first;
        for (std::size_t k = 1; k < tie.count; ++k)
            distance += (at[k] - place[k]) * (at[k] - place[k]);
        if (count == some && distance >= closest[some - 1])
            return true;
        std::size_t j = count < some ? count++ : some - 1;
        for (; j > 0 && closest[j - 1] > distance; --j) {
            closest[j] = closest[j - 1];
            left[j] = left[j - 1];
        }
        closest[j] = distance;
        left[j] = tie.near_left[r];
        return true;
    };
    std::size_t above = 0;
    for (std::size_t length = tie.near_left.size(); length > 0;) {
        const std::size_t half = length / 2;
        const bool below = tie.near_places[(above + half) * tie.count] < place[0];
        above += below ? half + 1 : 0;
        length = below ? length - half - 1 : half;
    }
    std::size_t under = above;
    bool up = true;
    bool down = true;
    while (up || down) {
        up = up && above < tie.near_left.size() && look(above++);
        down = down && under > 0 && look(--under);
    }
    Near out;
    if (count < some)
        return out;
    float squares = 0;
    for (const float one : left)
        squares += one * one;
    out.rms = std::sqrt(squares / static_cast<float>(some));
    out.distance = std::sqrt(closest[some - 1]);
    return out;
}

/// Places in the good run where all of it is there, thinned; none where these are too few.
std::vector<std::size_t> Ties::rows_of(const Tie& tie, const Grid& good) const {
    const float* const y = column(good, tie.target, tie.powers).data();
    std::array<const float*, most_partners> x{};
    for (std::size_t k = 0; k < tie.count; ++k)
        x[k] = column(good, tie.by[k], tie.powers).data();
    std::vector<std::size_t> rows;
    rows.reserve(good.size);
    for (std::size_t i = 0; i < good.size; ++i) {
        bool there = good.aside[i] == 0 && !std::isnan(y[i]);
        for (std::size_t k = 0; k < tie.count; ++k)
            there = there && !std::isnan(x[k][i]);
        if (there)
            rows.push_back(i);
    }
    if (rows.size() < 100 || 5 * rows.size() < 2 * good.size)
        return {};
    if (rows.size() > most_rows) {
        const std::size_t every = (rows.size() + most_rows - 1) / most_rows;
        for (std::size_t i = 0; i * every < rows.size(); ++i)
            rows[i] = rows[i * every];
        rows.resize((rows.size() + every - 1) / every);
    }
    return rows;
}

/// Fits it to the good run, strays held down (Huber's weights), once without each block.
bool Ties::fit(const Grid& good, std::size_t blocks, Tie& tie) const {
    const std::vector<float>& y = column(good, tie.target, tie.powers);
    const std::vector<std::size_t> rows = rows_of(tie, good);
    if (rows.empty())
        return false;
    for (std::size_t k = 0; k < tie.count; ++k) {
        tie.middle[k] = tie.powers ? log_mean_[tie.by[k]] : mean_[tie.by[k]];
        tie.width[k] = std::max(1e-9, tie.powers ? log_sd_[tie.by[k]] : sd_[tie.by[k]]);
    }
    std::size_t p = 0;
    std::vector<Terms> x(rows.size());
    for (std::size_t r = 0; r < rows.size(); ++r)
        p = terms_at(tie, good, rows[r], x[r]);
    constexpr std::size_t wide = most_terms;
    using Gram = std::array<double, wide * wide + wide>;
    std::vector<Gram> grams(blocks);
    std::vector<double> weight(rows.size(), 1);
    std::vector<double> size(rows.size());
    std::array<double, wide> beta{};
    const auto solved = [&](std::size_t without, std::array<double, wide>& out) {
        std::array<double, wide * wide> gram{};
        out = {};
        for (std::size_t b = 0; b < blocks; ++b) {
            if (b == without)
                continue;
            for (std::size_t i = 0; i < p * p; ++i)
                gram[i] += grams[b][i];
            for (std::size_t i = 0; i < p; ++i)
                out[i] += grams[b][wide * wide + i];
        }
        for (std::size_t i = 1; i < p; ++i)
            gram[i * p + i] *= 1 + 1e-6;
        if (!factor({gram.data(), p * p}, p))
            return false;
        substitute({gram.data(), p * p}, p, {out.data(), p});
        return true;
    };
    const double own_sd = tie.powers ? log_sd_[tie.target] : sd_[tie.target];
    constexpr double hopeless = 1.5; // strays held down does not make it that much closer
    for (int round = 0; round < 4; ++round) {
        for (Gram& gram : grams)
            gram.fill(0);
        for (std::size_t r = 0; r < rows.size(); ++r) {
            Gram& gram = grams[std::min<std::size_t>(blocks - 1, good.block[rows[r]])];
            for (std::size_t i = 0; i < p; ++i) {
                for (std::size_t j = 0; j <= i; ++j)
                    gram[i * p + j] += weight[r] * x[r][i] * x[r][j];
                gram[wide * wide + i] += weight[r] * x[r][i] * double{y[rows[r]]};
            }
        }
        if (!solved(blocks, beta))
            return false;
        for (std::size_t r = 0; r < rows.size(); ++r) {
            size[r] = std::abs(double{y[rows[r]]} - sum_of(x[r], p, beta));
        }
        const double off = mad_factor * median(size);
        if (off > hopeless * loosest * own_sd)
            return false;
        const double limit = 2 * off + 1e-12;
        for (std::size_t r = 0; r < rows.size(); ++r)
            weight[r] = size[r] <= limit ? 1 : limit / size[r];
    }
    tie.beta.clear();
    for (std::size_t b = 0; b < blocks; ++b) {
        std::array<double, wide> without{};
        if (!solved(b, without))
            return false;
        tie.beta.push_back(without);
    }
    tie.beta.push_back(beta);
    for (std::size_t k = 0; k < tie.count; ++k) {
        std::vector<double> values;
        values.reserve(rows.size());
        for (const std::size_t row : rows)
            values.push_back(double{column(good, tie.by[k], tie.powers)[row]});
        const double low = quantile(values, 0.002);
        const double high = quantile(values, 0.998);
        // Where the good run hardly was, it says little.
        std::array<std::size_t, bins> often{};
        for (const double v : values)
            if (v >= low && v <= high)
                ++often[bin_of(v, low, high)];
        const std::size_t enough = std::max<std::size_t>(3, values.size() / 300);
        tie.low[k] = low;
        tie.high[k] = high;
        for (std::size_t b = 0; b < bins; ++b)
            tie.known[k][b] = often[b] >= enough;
    }
    // How its partners lie together: further out than they ever were, it may no longer hold.
    tie.spread.fill(0);
    if (tie.count > 1) {
        for (std::size_t r = 0; r < rows.size(); ++r)
            for (std::size_t i = 0; i < tie.count; ++i)
                for (std::size_t j = 0; j < tie.count; ++j)
                    tie.spread[i * tie.count + j] +=
                        x[r][i + 1] * x[r][j + 1] / static_cast<double>(rows.size());
        for (std::size_t i = 0; i < tie.count; ++i)
            tie.spread[i * tie.count + i] *= 1 + 1e-6;
        if (!invert({tie.spread.data(), std::size_t{tie.count} * tie.count}, tie.count))
            return false;
        std::vector<double> distances;
        distances.reserve(rows.size());
        for (const Terms& row : x)
            distances.push_back(distance(tie, row));
        tie.farthest = 1.2 * quantile(distances, 0.998);
    }
    // Scale of a normal difference: on blocks left out.
    size.clear();
    std::vector<double> own;
    for (const std::size_t row : rows) {
        const double fitted = expect(tie, good, row, tie.beta[good.block[row]]);
        size.push_back(std::abs(double{y[row]} - fitted));
        own.push_back(double{y[row]});
    }
    tie.scale = std::max(mad_factor * median(size), 1e-9);
    if (!tie.powers)
        tie.scale = std::max(tie.scale, 0.3 * step_[tie.target]);
    const double spread = (quantile(own, 0.95) - quantile(own, 0.05)) / 3.29;
    tie.sharpness = tie.scale / std::max(1e-9, std::min(own_sd, spread));
    return tie.sharpness < loosest;
}

/// Keeps what was left of a fitted tie at some moments of the good run.
void Ties::remember(const Grid& good, Tie& tie) const {
    const std::vector<float>& y = column(good, tie.target, tie.powers);
    const std::vector<std::size_t> rows = rows_of(tie, good);
    std::vector<Terms> x(rows.size());
    for (std::size_t r = 0; r < rows.size(); ++r)
        terms_at(tie, good, rows[r], x[r]);
    const std::size_t every = std::max<std::size_t>(1, (rows.size() + near_rows - 1) / near_rows);
    std::vector<std::size_t> some;
    for (std::size_t r = every / 2; r < rows.size(); r += every)
        some.push_back(r);
    std::sort(some.begin(), some.end(),
              [&](std::size_t p1, std::size_t p2) { return x[p1][1] < x[p2][1]; });
    tie.near_places.clear();
    tie.near_left.clear();
    tie.near_block.clear();
    for (const std::size_t r : some) {
        for (std::size_t k = 0; k < tie.count; ++k)
            tie.near_places.push_back(static_cast<float>(x[r][k + 1]));
        const double off =
            double{y[rows[r]]} - expect(tie, good, rows[r], tie.beta[good.block[rows[r]]]);
        tie.near_left.push_back(static_cast<float>(std::clamp(off / tie.scale, -12.0, 12.0)));
        tie.near_block.push_back(good.block[rows[r]]);
    }
    std::vector<double> alike;
    for (std::size_t r = 0; r < rows.size(); r += 4)
        alike.push_back(double{near(tie, x[r], good.block[rows[r]]).distance});
    tie.near_enough = static_cast<float>(1.5 * quantile(alike, 0.98)) + 0.02F;
}

/// With no more partners than it takes.
bool Ties::fit_least(const Grid& good, std::size_t blocks, Tie& tie) const {
    if (!fit(good, blocks, tie))
        return false;
    constexpr double as_sharp = 1.15;
    if (tie.curved) {
        Tie straight = tie;
        straight.curved = false;
        if (fit(good, blocks, straight) && straight.sharpness <= as_sharp * tie.sharpness)
            tie = std::move(straight);
    }
    while (tie.count > 1) {
        std::size_t weakest = 0;
        double least = std::numeric_limits<double>::infinity();
        for (std::size_t p = 0; p < tie.count; ++p) {
            double by = std::abs(tie.beta.back()[p + 1]);
            for (std::size_t q = 0; q < tie.count && tie.curved; ++q)
                by += std::abs(tie.beta.back()[product_at(tie, p, q)]);
            if (by < least) {
                least = by;
                weakest = p;
            }
        }
        Tie fewer;
        fewer.target = tie.target;
        fewer.powers = tie.powers;
        fewer.curved = tie.curved;
        for (std::size_t p = 0; p < tie.count; ++p)
            if (p != weakest)
                fewer.by[fewer.count++] = tie.by[p];
        if (!fit(good, blocks, fewer) || fewer.sharpness > as_sharp * tie.sharpness)
            break;
        tie = std::move(fewer);
    }
    return true;
}

/// What the whole run is off by: another day's soot, fuel, weight or air. As much of each value of
/// a sum, where that leaves less.
Ties::Day Ties::day_of(const Tie& tie, const Grid& grid) const {
    constexpr double share = 0.8;
    const std::vector<float>& y = column(grid, tie.target, tie.powers);
    std::vector<double> fitted(grid.size, nothing);
    for (std::size_t i = 0; i < grid.size; ++i)
        if (grid.aside[i] == 0)
            fitted[i] = expect(tie, grid, i, tie.beta.back());
    Day day;
    day.more =
        share * day_level(grid.size, [&](std::size_t i) { return double{y[i]} - fitted[i]; });
    if (tie.powers || lowest_[tie.target] < 0)
        return day;
    const double least = floor_[tie.target] + 0.3 * sd_[tie.target];
    Day other;
    other.part = share * day_level(grid.size, [&](std::size_t i) {
                     return fitted[i] > least ? double{y[i]} / fitted[i] - 1 : nothing;
                 });
    const auto left = [&](const Day& by) {
        std::vector<double> sizes;
        for (std::size_t i = 0; i < grid.size; ++i) {
            const double off = double{y[i]} - by.of(fitted[i]);
            if (!std::isnan(off))
                sizes.push_back(std::abs(off));
        }
        return sizes.empty() ? 0.0 : median(sizes);
    };
    return other.part != 0 && left(other) < left(day) ? other : day;
}

Ties::Differences Ties::differences(const Tie& tie, const Grid& grid, bool is_good,
                                    const Day& day) const {
    Differences d;
    d.z.assign(grid.size, missing);
    d.unit.assign(grid.size, missing);
    d.pace.assign(grid.size, missing);
    d.blocks = tie.beta.size() - 1;
    if (!is_good)
        d.unsure.assign(grid.size * d.blocks, 0);
    const std::vector<float>& y = column(grid, tie.target, tie.powers);
    std::vector<double> fitted(grid.size, nothing);
    std::vector<Near> around(grid.size);
    std::vector<Terms> at(grid.size);
    std::size_t terms = 0;
    for (std::size_t i = 0; i < grid.size; ++i) {
        if (grid.aside[i] != 0)
            continue;
        bool inside = true;
        for (std::size_t p = 0; p < tie.count; ++p) {
            inside = inside && knows(tie, p, double{column(grid, tie.by[p], tie.powers)[i]});
        }
        if (!inside)
            continue;
        Terms& x = at[i];
        terms = terms_at(tie, grid, i, x);
        if (tie.count > 1 && distance(tie, x) > tie.farthest)
            continue;
        if (i % 4 == 0 || std::isnan(around[i - 1].distance)) // it changes slowly
            around[i] = near(tie, x, is_good ? grid.block[i] : 255);
        else
            around[i] = around[i - 1];
        if (!(around[i].distance <= tie.near_enough))
            continue;
        fitted[i] = day.of(sum_of(x, terms, is_good ? tie.beta[grid.block[i]] : tie.beta.back()));
        if (!tie.powers) // no sensor reads beyond its ends
            fitted[i] = std::clamp(fitted[i], least_[tie.target], most_[tie.target]);
    }
    constexpr double timing = 0.1; // seconds
    constexpr float most_pace = 8;
    for (std::size_t i = 0; i < grid.size; ++i) {
        if (!std::isfinite(fitted[i]) || std::isnan(y[i]))
            continue;
        double variance = tie.scale * tie.scale;
        const double wider = std::max(1.0, double{around[i].rms} / 1.15);
        variance *= wider * wider;
        double in_units = 1;
        if (tie.powers) {
            // What a step of each makes of it.
            const auto coarse = [&](std::size_t signal, double beta, double log_value) {
                const double part = beta * step_[signal] / std::exp(log_value);
                return part * part / 12;
            };
            in_units = std::exp(fitted[i]);
            variance += coarse(tie.target, 1, fitted[i]);
            for (std::size_t p = 0; p < tie.count; ++p)
                variance += coarse(tie.by[p], tie.beta.back()[p + 1] / tie.width[p],
                                   double{column(grid, tie.by[p], true)[i]});
        }
        double pace = nothing;
        if (i > 0 && i + 1 < grid.size && !std::isnan(fitted[i - 1]) &&
            !std::isnan(fitted[i + 1])) {
            pace = (fitted[i + 1] - fitted[i - 1]) / (2 * grid.spacing);
            variance += timing * pace * timing * pace;
        }
        const double sigma = std::sqrt(variance);
        if (!std::isfinite(sigma * in_units))
            continue;
        const auto off = static_cast<float>(double{y[i]} - fitted[i]);
        d.z[i] = std::clamp(off / static_cast<float>(sigma), -most_z, most_z);
        d.unit[i] = static_cast<float>(sigma * in_units);
        d.pace[i] = std::clamp(static_cast<float>(pace / sigma), -most_pace, most_pace);
        if (is_good)
            continue;
        const double whole = sum_of(at[i], terms, tie.beta.back());
        for (std::size_t b = 0; b < d.blocks; ++b)
            d.unsure[i * d.blocks + b] =
                static_cast<float>((sum_of(at[i], terms, tie.beta[b]) - whole) / sigma);
    }
    return d;
}

Ties::Way Ties::way_of(std::size_t sight) {
    return sight < level_widths.size()                         ? Way::level
           : sight < level_widths.size() + rough_widths.size() ? Way::rough
                                                               : Way::late;
}

std::size_t Ties::points(std::size_t sight, double spacing) {
    const Way way = way_of(sight);
    const double width = way == Way::level ? level_widths[sight]
                         : way == Way::rough
                             ? rough_widths[sight - level_widths.size()]
                             : late_widths[sight - level_widths.size() - rough_widths.size()];
    return std::max<std::size_t>(4, static_cast<std::size_t>(std::lround(width / spacing)));
}

/// A window begins at every quarter of its width. Of the level the mean difference, of roughness
/// that from point to point; lateness in standard errors of it, and its unit in seconds.
void Ties::sight(const Differences& d, std::size_t sight, double spacing, std::vector<float>& value,
                 std::vector<float>& unit) const {
    value.clear();
    unit.clear();
    const std::size_t n = d.z.size();
    const std::size_t width = points(sight, spacing);
    const Way way = way_of(sight);
    if (n < 6 * width)
        return;
    const std::size_t stride = std::max<std::size_t>(1, width / 4);
    for (std::size_t from = 0; from + width <= n; from += stride) {
        float sum = 0;
        float units = 0;
        std::size_t count = 0;
        for (std::size_t i = from; i < from + width; ++i) {
            const float v = way == Way::level  ? d.z[i]
                            : way == Way::late ? -d.z[i] * d.pace[i]
                            : i == from        ? missing
                                               : std::abs(d.z[i] - d.z[i - 1]);
            if (std::isnan(v))
                continue;
            sum += v;
            units += way == Way::late ? d.pace[i] * d.pace[i] : d.unit[i];
            ++count;
        }
        const bool enough = 10 * count >= 6 * (width - (way == Way::rough ? 1 : 0)) && units > 0;
        if (!enough) {
            value.push_back(missing);
            unit.push_back(missing);
        } else if (way == Way::late) {
            value.push_back(sum / std::sqrt(units));
            unit.push_back(1 / std::sqrt(units));
        } else {
            value.push_back(sum / static_cast<float>(count));
            unit.push_back(units / static_cast<float>(count));
        }
    }
}

/// How far the mean over each window would be another one had a part of the good run not been
/// there: the jackknife's standard error, with a factor.
void Ties::doubt(const Differences& d, std::size_t sight, double spacing,
                 std::vector<float>& unsure) const {
    unsure.clear();
    const std::size_t n = d.z.size();
    const std::size_t width = points(sight, spacing);
    const bool level = way_of(sight) == Way::level;
    const std::size_t stride = std::max<std::size_t>(1, width / 4);
    std::vector<double> sums(d.blocks, 0);
    std::size_t count = 0;
    // What enters a window, less what leaves it.
    const auto pass = [&](std::size_t begin, std::size_t end, double sign) {
        for (std::size_t i = begin; i < end && level; ++i) {
            if (std::isnan(d.z[i]))
                continue;
            count += sign > 0 ? 1 : static_cast<std::size_t>(-1);
            for (std::size_t b = 0; b < d.blocks; ++b)
                sums[b] += sign * double{d.unsure[i * d.blocks + b]};
        }
    };
    for (std::size_t from = 0; from + width <= n; from += stride) {
        pass(from == 0 ? 0 : from - stride + width, from + width, 1);
        pass(from == 0 ? 0 : from - stride, from, -1);
        double mean = 0;
        for (const double sum : sums)
            mean += sum / static_cast<double>(d.blocks);
        double squares = 0;
        for (const double sum : sums)
            squares += (sum - mean) * (sum - mean);
        const auto blocks = static_cast<double>(d.blocks);
        unsure.push_back(
            count > 0 ? static_cast<float>(unsureness * std::sqrt(squares * (blocks - 1) / blocks) /
                                           static_cast<double>(count))
                      : 0.0F);
    }
}

Ties::View Ties::view(const Tie& tie, const Grid& bad) const {
    View out;
    out.day = day_of(tie, bad);
    const Differences d = differences(tie, bad, false, out.day);
    std::vector<float> unsure;
    for (std::size_t s = 0; s < sights; ++s) {
        if (tie.limit[s] <= 0)
            continue;
        sight(d, s, bad.spacing, out.score[s], out.unit[s]);
        doubt(d, s, bad.spacing, unsure);
        std::vector<double> usual = finite(out.score[s]);
        if (usual.size() < 8) {
            out.score[s].clear();
            out.unit[s].clear();
            continue;
        }
        for (double& v : usual)
            v = std::abs(v);
        constexpr double more = 2.5;
        const auto limit = static_cast<float>(std::max(tie.limit[s], more * quantile(usual, 0.6)));
        for (std::size_t j = 0; j < out.score[s].size(); ++j) {
            const float here = std::hypot(limit, unsure[j]);
            out.score[s][j] /= here;
            out.unit[s][j] *= here;
        }
    }
    return out;
}

Ties::Ties(const Drive& good, const std::vector<const Drive*>& bad, const Survey& survey,
           const std::vector<char>& available, const std::vector<char>& free)
    : drives_(bad) {
    const std::size_t n = good.signals();
    able_.assign(n, 0);
    slow_.assign(n, 0);
    step_.assign(n, 1);
    least_.assign(n, -std::numeric_limits<double>::infinity());
    most_.assign(n, std::numeric_limits<double>::infinity());
    mean_.assign(n, 0);
    sd_.assign(n, 0);
    lowest_.assign(n, 0);
    floor_.assign(n, 0);
    shift_.assign(n, nothing);
    log_mean_.assign(n, 0);
    log_sd_.assign(n, 0);
    std::size_t count = 0;
    for (std::size_t k = 0; k < n && count < most_signals; ++k) {
        const Range& range = survey.range(k);
        if (available[k] == 0 || !range.usable || range.counter)
            continue;
        const Series& series = good.track(k).series();
        // Two or three values are states.
        if (double{range.high - range.low} < 4 * series.step)
            continue;
        ++count;
        able_[k] = 1;
        slow_[k] = range.slow ? 1 : 0;
        step_[k] = series.step;
        if (series.has_ends) {
            least_[k] = series.low;
            most_[k] = series.high;
        }
        mean_[k] = double{range.mean};
        sd_[k] = double{range.sd};
        lowest_[k] = double{range.low};
        const bool kelvins = series.unit == Unit::celsius;
        if (kelvins || (series.has_ends && series.low >= 0)) {
            shift_[k] = kelvins ? double{kelvin} : 0.0;
            floor_[k] = std::max(3 * series.step, 0.02 * (double{range.high} + shift_[k]));
        }
    }
    Grid taught = grid_of(good, survey);
    leap_.assign(n, 0);
    for (std::size_t k = 0; k < n; ++k)
        for (std::size_t i = 1; i < taught.plain[k].size(); ++i)
            leap_[k] =
                std::fmax(leap_[k], double{std::abs(taught.plain[k][i] - taught.plain[k][i - 1])});
    for (std::size_t k = 0; k < n; ++k) {
        if (taught.logs[k].empty())
            continue;
        const std::vector<double> values = finite(taught.logs[k]);
        if (2 * values.size() < taught.size) {
            taught.logs[k].clear();
            shift_[k] = nothing;
            continue;
        }
        double sum = 0;
        for (const double v : values)
            sum += v;
        log_mean_[k] = sum / static_cast<double>(values.size());
        double squares = 0;
        for (const double v : values)
            squares += (v - log_mean_[k]) * (v - log_mean_[k]);
        log_sd_[k] = std::sqrt(squares / static_cast<double>(values.size()));
    }
    std::vector<Tie> found;
    search(taught, false, found);
    search(taught, true, found);
    search_curved(taught, found);
    const std::size_t blocks = good.blocks();
    std::vector<std::vector<Tie>> by_target(n);
    for (Tie& tie : found)
        if (fit_least(taught, blocks, tie)) {
            // The same signals in sums and in powers: the sharper one.
            auto& list = by_target[tie.target];
            const auto same = std::find_if(list.begin(), list.end(), [&](const Tie& other) {
                return other.by == tie.by && other.count == tie.count;
            });
            if (same == list.end())
                list.push_back(std::move(tie));
            else if (tie.sharpness < same->sharpness)
                *same = std::move(tie);
        }
    of_.resize(n);
    for (auto& list : by_target) {
        std::sort(list.begin(), list.end(),
                  [](const Tie& a, const Tie& b) { return a.sharpness < b.sharpness; });
        std::size_t sharp_ones = 0;
        std::size_t witnesses = 0;
        for (Tie& tie : list) {
            if (sharp_ones == ties_each && witnesses == witnesses_each)
                break;
            remember(taught, tie);
            const Differences d = differences(tie, taught, true, {});
            std::vector<float> value;
            std::vector<float> unit;
            // The more signals it takes, the closer it has to be.
            constexpr std::array<double, most_partners> close_enough{0.13, 0.08, 0.05};
            bool close = tie.sharpness < close_enough[tie.count - 1U] && free[tie.target] == 0;
            for (std::size_t p = 0; p < tie.count; ++p)
                close = close && free[tie.by[p]] == 0;
            for (std::size_t s = 0; s < sights; ++s) {
                sight(d, s, taught.spacing, value, unit);
                if (value.size() < 8)
                    continue;
                double most = floors[s];
                for (const float v : value)
                    most = std::fmax(most, double{std::abs(v)}); // passes over not-a-number
                tie.plain[s] = close && most <= noisy * floors[s];
                tie.witness = tie.witness && !tie.plain[s];
                tie.limit[s] = way_of(s) == Way::level
                                   ? level_limit(value, s) * (1 + slack * tie.sharpness)
                                   : caution[s] * (strict + looseness * tie.sharpness) * most;
            }
            std::size_t& taken = tie.witness ? witnesses : sharp_ones;
            if (taken == (tie.witness ? witnesses_each : ties_each))
                continue;
            ++taken;
            of_[tie.target].push_back(ties_.size());
            ties_.push_back(std::move(tie));
        }
    }
    for (const Drive* drive : bad)
        grids_.push_back(grid_of(*drive, survey));
}

void Ties::turn_to(std::size_t run) {
    run_ = run;
    views_.clear();
    views_.reserve(ties_.size());
    for (const Tie& tie : ties_) {
        const Grid& grid = grids_[run];
        bool there = !column(grid, tie.target, tie.powers).empty();
        for (std::size_t p = 0; p < tie.count; ++p)
            there = there && !column(grid, tie.by[p], tie.powers).empty();
        views_.push_back(there ? view(tie, grid) : View{});
    }
}

/// Where the product of two partners stands among the terms.
std::size_t Ties::product_at(const Tie& tie, std::size_t p, std::size_t q) {
    if (p > q)
        std::swap(p, q);
    return 1 + tie.count + p * tie.count - p * (p + 1) / 2 + q;
}

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
        float score = 0; // of the strongest tie that aims at it
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
    };
    std::vector<Strange> strange;
    std::vector<std::size_t> candidates;
    std::vector<Told> seen;
    for (std::size_t s = 0; s < sights; ++s) {
        const std::size_t width = points(s, grid.spacing);
        const std::size_t stride = std::max<std::size_t>(1, width / 4);
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
            const std::size_t from = j * stride;
            const std::size_t to = std::min(grid.size, from + width);
            seen.clear();
            double nothing_wrong = 0;
            for (const std::size_t t : usable) {
                const double score = double{score_of(t)};
                if (std::isnan(score))
                    continue;
                Told one{t, rough ? std::max(0.0, score - usual) : score, {}};
                bool counts = false;
                for (const std::size_t signal : candidates) {
                    double by = pull(t, signal, grid, from, to, double{views_[t].unit[s][j]}, way);
                    if (rough)
                        by = std::abs(by);
                    counts = counts || by != 0;
                    one.pulls.push_back(by);
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
                    if (source.pulls[c] == 0)
                        continue;
                    const auto size = static_cast<float>(std::abs(source.score));
                    if (breaks(source.tie)) {
                        constexpr float turned = 0.9F; // the same relation, turned round
                        const std::size_t own = turned_to(candidates[c], source.tie);
                        const float counted = own == source.tie ? size : turned * size;
                        if (own < ties_.size() && counted > choice.score) {
                            choice.score = counted;
                            choice.tie = static_cast<std::uint32_t>(own);
                        }
                    }
                    if (size < 1)
                        continue;
                    const double by = source.score / source.pulls[c];
                    if (way == Way::late && by < 0)
                        continue; // nothing comes early
                    double cost = 0;
                    for (const Told& one : seen)
                        cost += std::min(most_cost,
                                         std::pow((one.score - by * one.pulls[c]) / usual, 2));
                    least = std::min(least, cost);
                }
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
                    gain[choice.signal] += double{choice.gain};
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
            const std::size_t stride = std::max<std::size_t>(1, width / 4);
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
        const double second = *std::max_element(others.begin(), others.end());
        for (std::size_t i = before; i < found.size(); ++i)
            found[i].doubt = mine > 0 ? static_cast<float>(second / mine) : 1;
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
    }
    return found;
}

std::vector<std::size_t> Ties::partners(std::size_t tie) const {
    return {ties_[tie].by.begin(), ties_[tie].by.begin() + ties_[tie].count};
}

Trace Ties::trace(std::size_t which) const {
    const Tie& tie = ties_[which];
    const Drive& drive = *drives_[run_];
    const Track& track = drive.track(tie.target);
    const Day& day = views_[which].day;
    Trace out;
    const std::size_t n = track.size();
    out.interval = track.interval();
    out.t.resize(n);
    out.y.resize(n);
    out.fitted.assign(n, missing);
    out.sigma.assign(n, missing);
    out.z.assign(n, missing);
    std::vector<Cursor> cursors;
    for (std::size_t p = 0; p < tie.count; ++p)
        cursors.emplace_back(drive.track(tie.by[p]));
    for (std::size_t i = 0; i < n; ++i) {
        out.t[i] = track.time(i);
        out.y[i] = track.value(i);
        std::array<double, most_partners> values{};
        for (std::size_t p = 0; p < tie.count; ++p) {
            double v = double{cursors[p].at(out.t[i])};
            if (tie.powers) {
                v += shift_[tie.by[p]];
                v = v > floor_[tie.by[p]] ? std::log(v) : nothing;
            }
            if (!knows(tie, p, v))
                v = nothing;
            values[p] = v;
        }
        Terms x;
        const std::size_t terms = terms_of(tie, values, x);
        const double sum = day.of(sum_of(x, terms, tie.beta.back()));
        const double value = tie.powers ? std::exp(sum) - shift_[tie.target]
                                        : std::clamp(sum, least_[tie.target], most_[tie.target]);
        const double sigma =
            tie.powers ? tie.scale * std::exp(sum) + 0.3 * step_[tie.target] : tie.scale;
        out.fitted[i] = static_cast<float>(value);
        out.sigma[i] = static_cast<float>(sigma);
        out.z[i] = (out.y[i] - out.fitted[i]) / out.sigma[i];
    }
    return out;
}

} // namespace telltale::run

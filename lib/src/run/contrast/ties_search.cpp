// SPDX-License-Identifier: Apache-2.0
// Which signals may be tied to which: the good run is searched for few partners that leave little
// of a signal open.
#include <algorithm>
#include <array>
#include <cmath>
#include <span>
#include <utility>
#include <vector>

#include "regress.hpp"
#include "solve.hpp"
#include "ties.hpp"

namespace telltale::run {
namespace {

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

/// Partners that may tell a signal, by their places among those searched.
struct Tellers {
    double left = 1; ///< of its variance
    std::array<std::size_t, Ties::most_partners> by{};
    std::uint8_t count = 0;
    std::span<const std::size_t> all() const { return {by.data(), count}; }
};
constexpr auto closer = [](const Tellers& a, const Tellers& b) { return a.left < b.left; };

} // namespace

/// Signals that the good run has in this form, and that move there.
std::vector<std::size_t> Ties::moving(const Grid& good, bool powers) const {
    std::vector<std::size_t> out;
    for (std::size_t k = 0; k < able_.size(); ++k)
        if (able_[k] != 0 && !column(good, k, powers).empty() && sd_of(k, powers) > 0)
            out.push_back(k);
    return out;
}

/// A tie of one of the signals `who` to others of them, not fitted.
Ties::Tie Ties::tie_of(std::span<const std::size_t> who, std::size_t target,
                       std::span<const std::size_t> by) {
    Tie tie;
    tie.target = static_cast<std::uint16_t>(who[target]);
    for (const std::size_t one : by)
        tie.by[tie.count++] = static_cast<std::uint16_t>(who[one]);
    std::sort(tie.by.begin(), tie.by.begin() + tie.count);
    return tie;
}

/// Which signals go closely with which, by the correlations of the good run.
void Ties::search(const Grid& good, bool powers, std::vector<Tie>& out) const {
    const std::vector<std::size_t> who = moving(good, powers);
    const std::size_t m = who.size();
    if (m < 2)
        return;
    const std::size_t stride = std::max<std::size_t>(1, good.size / 1500);
    const std::size_t rows = good.size / stride;
    std::vector<float> x(m * rows);
    std::vector<float> there(m * rows);
    for (std::size_t a = 0; a < m; ++a) {
        const std::vector<float>& values = column(good, who[a], powers);
        const auto mean = static_cast<float>(mean_of(who[a], powers));
        const auto sd = static_cast<float>(sd_of(who[a], powers));
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
    std::vector<Tellers> choices;
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
            std::vector<Tellers> triples;
            for (std::size_t a = 0; a < m; ++a)
                for (std::size_t b = a + 1; b < m; ++b) {
                    if (!may(a) || !may(b))
                        continue;
                    const double left = left_by(target, std::array{a, b});
                    if (left < close && left < sharper * std::min(pair[a], pair[b]))
                        triples.push_back({left, {a, b}, 2});
                }
            std::sort(triples.begin(), triples.end(), closer);
            if (triples.size() > 12)
                triples.resize(12);
            const std::size_t widened = std::min<std::size_t>(4, triples.size());
            for (std::size_t c = 0; c < widened; ++c)
                for (std::size_t a = 0; a < m; ++a) {
                    if (!may(a) || a == triples[c].by[0] || a == triples[c].by[1])
                        continue;
                    Tellers wide = triples[c];
                    wide.by[2] = a;
                    wide.count = 3;
                    wide.left = left_by(target, std::span(wide.by));
                    if (wide.left < sharper * triples[c].left)
                        choices.push_back(wide);
                }
            choices.insert(choices.end(), triples.begin(), triples.end());
        }
        std::sort(choices.begin(), choices.end(), closer);
        std::vector<std::size_t> uses(m, 0);
        std::size_t taken = 0;
        for (const Tellers& choice : choices) {
            bool often = false;
            for (const std::size_t one : choice.all())
                often = often || uses[one] >= 4;
            if (often || taken == 10)
                continue;
            ++taken;
            for (const std::size_t one : choice.all())
                ++uses[one];
            Tie tie = tie_of(who, target, choice.all());
            tie.powers = powers;
            out.push_back(std::move(tie));
        }
    }
}

/// Which signals tell another by a sum with squares and products of two or three, by the good
/// run's least squares.
void Ties::search_curved(const Grid& good, std::vector<Tie>& out) const {
    std::vector<std::size_t> who = moving(good, false);
    std::erase_if(who, [&](std::size_t k) { return slow_[k] != 0; });
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
    std::vector<std::vector<Tellers>> choices(m);
    constexpr double close = 0.15;
    constexpr std::size_t pairs_each = 5;
    constexpr std::size_t widened = 3;
    constexpr std::size_t wide_each = 4;
    const auto keep = [](std::vector<Tellers>& list, const Tellers& choice, std::size_t most_kept) {
        list.insert(std::upper_bound(list.begin(), list.end(), choice, closer), choice);
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
        std::vector<Tellers> wide;
        for (std::size_t c = 0; c < std::min(widened, choices[target].size()); ++c) {
            const Tellers& pair = choices[target][c];
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
        std::vector<Tellers>& list = choices[target];
        list.insert(list.end(), wide.begin(), wide.end());
        for (const Tellers& choice : list) {
            if (choice.left > close)
                continue;
            Tie tie = tie_of(who, target, choice.all());
            tie.curved = true;
            out.push_back(std::move(tie));
        }
    }
}

} // namespace telltale::run

// SPDX-License-Identifier: Apache-2.0
#include "model.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <numeric>

#include "lanes.hpp"
#include "regress.hpp"
#include "run/robust.hpp"
#include "traits.hpp"

namespace telltale::run {
namespace {

constexpr std::size_t train_rows = 1000;
constexpr std::size_t seen_rows = 600;
constexpr std::size_t most_bumps = 32;

/// A bump of finite width: 1 in its centre, smooth, 0 from a distance of 1 on.
float bump(float square_distance) {
    const float u = square_distance >= 1 ? 0.0F : 1 - square_distance;
    return u * u * u;
}

/// The part of a Gram matrix that some columns and the last one have.
std::vector<float> gram_part(const std::vector<float>& gram, std::size_t size,
                             const std::vector<std::size_t>& columns) {
    const std::size_t n = columns.size() + 1;
    std::vector<float> out(n * n);
    for (std::size_t i = 0; i < n; ++i)
        for (std::size_t j = 0; j < n; ++j)
            out[i * n + j] = gram[(i + 1 < n ? columns[i] : size - 1) * size +
                                  (j + 1 < n ? columns[j] : size - 1)];
    return out;
}

/// The place of the greatest, the first of its like; none is not-a-number.
std::size_t first_greatest(const std::vector<float>& values) {
    Lanes greatest = lanes_of(values.front());
    std::size_t i = 0;
    for (; i + lane_count <= values.size(); i += lane_count) {
        const Lanes here = lanes_at(&values[i]);
        greatest = here > greatest ? here : greatest;
    }
    float most = std::max({greatest[0], greatest[1], greatest[2], greatest[3]});
    for (; i < values.size(); ++i)
        most = std::max(most, values[i]);
    return static_cast<std::size_t>(std::find(values.begin(), values.end(), most) - values.begin());
}

/// Whether each of `n` rows has a value in every column.
std::vector<char> rows_there(const std::vector<std::vector<float>>& columns, std::size_t n) {
    std::vector<char> there(n, 1);
    for (const auto& column : columns)
        for (std::size_t i = 0; i < n; ++i)
            if (std::isnan(column[i]))
                there[i] = 0;
    return there;
}

} // namespace

Model::Model(const Survey& survey, const Drive& good, const Drive& bad, std::size_t target,
             const std::vector<char>& barred, std::size_t most_signals, bool set_freely)
    : survey_(&survey), good_(&good), bad_(&bad), target_(target) {
    const Range& range = survey.range(target);
    const Series& own = good.track(target).series();
    if (set_freely && own.has_ends && own.low >= 0) {
        // Not where it hardly ever is on.
        const auto off = static_cast<float>(own.low + 1.5 * own.step);
        std::size_t on = 0;
        for (std::size_t i = 0; i < good.track(target).size(); ++i)
            on += good.track(target).value(i) > off ? 1 : 0;
        if (2 * on > good.track(target).size())
            off_ = off;
    }
    if (!range.usable || range.counter)
        return;
    mean_ = range.mean;

    // 1. The linear forms of other signals that tell most.
    constexpr std::size_t most_linear = 14;
    std::vector<Feature> linear = survey.select(target, barred, most_linear, most_signals);
    std::vector<std::uint16_t> order; // signals, the most telling first
    for (const Feature& f : linear)
        if (std::find(order.begin(), order.end(), f.a) == order.end())
            order.push_back(f.a);

    const auto base = [&](std::size_t signal, Form form) -> std::uint16_t {
        for (std::size_t i = 0; i < bases_.size(); ++i)
            if (bases_[i].signal == signal && bases_[i].form == form)
                return static_cast<std::uint16_t>(i);
        const Range& r = survey.range(signal);
        // Beyond what the runs had for more than a moment, only a little way is trusted.
        const float beyond = 0.02F * (r.high - r.low);
        bases_.push_back({static_cast<std::uint16_t>(signal), form, r.reach_low - beyond,
                          r.reach_high + beyond, r.mean});
        return static_cast<std::uint16_t>(bases_.size() - 1);
    };

    features_.clear();
    features_.push_back({}); // the constant
    for (Feature f : linear) {
        f.a = base(f.a, f.form);
        features_.push_back(f);
    }

    // 2. Products and ratios of the strongest, and what the ideal gas suggests.
    constexpr std::size_t most_paired = 6;
    const auto usable = [&](std::ptrdiff_t signal) {
        return signal >= 0 && static_cast<std::size_t>(signal) != target &&
               barred[static_cast<std::size_t>(signal)] == 0 &&
               good.track(static_cast<std::size_t>(signal)).present();
    };
    std::vector<std::uint16_t> paired(
        order.begin(),
        order.begin() + static_cast<std::ptrdiff_t>(std::min(most_paired, order.size())));
    const auto divisor = [&](std::size_t signal) {
        const Range& r = survey.range(signal);
        return r.low >= 0 && r.high > 0;
    };
    for (std::size_t i = 0; i < paired.size(); ++i) {
        const std::uint16_t a = base(paired[i], Form::plain);
        Feature f;
        f.a = a;
        f.kind = Feature::Kind::square;
        features_.push_back(f);
        for (std::size_t j = 0; j < paired.size(); ++j) {
            if (i == j)
                continue;
            f.b = base(paired[j], Form::plain);
            f.kind = Feature::Kind::product;
            if (i < j)
                features_.push_back(f);
            if (divisor(paired[j])) {
                f.kind = Feature::Kind::ratio;
                f.offset = 0.1F * survey.range(paired[j]).high;
                features_.push_back(f);
                f.offset = 0;
            }
        }
    }
    const auto physical = [&](Feature::Kind kind, std::ptrdiff_t a, std::ptrdiff_t b) {
        const auto taken = [&](std::ptrdiff_t signal) {
            return std::find(order.begin(), order.end(), signal) != order.end();
        };
        if (range.slow || !taken(a) || !taken(b) || !usable(a) || !usable(b) ||
            !usable(survey.inlet) || bases_.size() > 60)
            return;
        Feature f;
        f.kind = kind;
        f.a = base(static_cast<std::size_t>(a), Form::plain);
        f.b = base(static_cast<std::size_t>(b), Form::plain);
        f.c = base(static_cast<std::size_t>(survey.inlet), Form::plain);
        f.offset = kind == Feature::Kind::charge
                       ? 0.1F * survey.range(static_cast<std::size_t>(b)).high
                       : 0;
        features_.push_back(f);
    };
    physical(Feature::Kind::density, survey.rpm, survey.manifold);
    physical(Feature::Kind::charge, survey.air, survey.rpm);
    physical(Feature::Kind::charge, survey.air, survey.manifold);

    // 3. The rows: the target's own samples, thinned; those of the good run first.
    struct Rows {
        std::vector<std::vector<float>> columns;
        std::vector<float> y;
        std::vector<std::uint8_t> blocks;
    };
    const auto rows_of = [&](const Drive& drive, Rows& out) {
        const Track& track = drive.track(target);
        std::vector<double> times;
        std::vector<float> y;
        const std::size_t stride = (track.size() + train_rows - 1) / train_rows;
        for (std::size_t i = 0; i < track.size(); i += stride) {
            times.push_back(track.time(i));
            y.push_back(track.value(i));
        }
        std::vector<std::vector<float>> columns;
        std::vector<float> beyond_seen;
        evaluate(drive, times, columns, beyond_seen);
        const std::vector<char> there = rows_there(columns, times.size());
        for (auto& column : columns) {
            std::size_t kept_rows = 0;
            for (std::size_t i = 0; i < column.size(); ++i)
                if (there[i] != 0)
                    column[kept_rows++] = column[i];
            column.resize(kept_rows);
        }
        out.columns = std::move(columns);
        for (std::size_t i = 0; i < times.size(); ++i)
            if (there[i] != 0) {
                out.y.push_back((y[i] - mean_) / range.sd);
                out.blocks.push_back(static_cast<std::uint8_t>(drive.block(times[i])));
            }
        return times.size();
    };
    Rows taught;
    const std::size_t asked = rows_of(good, taught);
    if (taught.y.size() < 60 || 3 * taught.y.size() < asked) {
        // Too little of the good run has all of them: the signal stands alone.
        features_.resize(1);
        bases_.clear();
        taught = {};
        rows_of(good, taught);
    }
    const std::size_t n_good = taught.y.size();
    if (!bases_.empty()) {
        Rows other;
        rows_of(bad, other);
        for (std::size_t c = 0; c < bases_.size(); ++c)
            taught.columns[c].insert(taught.columns[c].end(), other.columns[c].begin(),
                                     other.columns[c].end());
        taught.y.insert(taught.y.end(), other.y.begin(), other.y.end());
        taught.blocks.insert(taught.blocks.end(), other.blocks.begin(), other.blocks.end());
    }
    const std::vector<std::vector<float>>& rows = taught.columns;
    const std::vector<float>& target_row = taught.y;
    const std::vector<std::uint8_t>& blocks = taught.blocks;
    const std::size_t n = taught.y.size();

    // Bumps among the three strongest signals, spread over what was seen.
    const auto add_bumps = [&] {
        bump_bases_.clear();
        bump_scale_.clear();
        for (std::size_t i = 0; i < std::min<std::size_t>(3, order.size()); ++i) {
            bump_bases_.push_back(base(order[i], Form::plain));
            bump_scale_.push_back(1 / survey.range(order[i]).sd);
        }
        if (bump_bases_.empty() || n < 120 || rows.size() != bases_.size())
            return;
        const std::size_t d = bump_bases_.size();
        std::vector<float> points(n * d); // column by column
        for (std::size_t k = 0; k < d; ++k)
            for (std::size_t i = 0; i < n; ++i)
                points[k * n + i] = rows[bump_bases_[k]][i] * bump_scale_[k];
        // Each next centre is the point furthest from those before, strays left aside.
        std::vector<float> nearest(n, 1e30F);
        std::vector<float> distance(n);
        std::size_t next = n / 2;
        for (std::size_t c = 0; c < most_bumps; ++c) {
            std::fill(distance.begin(), distance.end(), 0.0F);
            for (std::size_t k = 0; k < d; ++k) {
                const float* const column = &points[k * n];
                const float centre = column[next];
                bump_centres_.push_back(centre);
                for (std::size_t i = 0; i < n; ++i) {
                    const float delta = column[i] - centre;
                    distance[i] += delta * delta;
                }
            }
            for (std::size_t i = 0; i < n; ++i)
                nearest[i] = std::min(nearest[i], distance[i]);
            const std::size_t far = first_greatest(nearest);
            bump_reach_ = 3.0F * std::sqrt(nearest[far]) + 1e-3F;
            next = far;
            if (nearest[far] < 1e-4F)
                break;
        }
        for (std::size_t c = 0; c * d < bump_centres_.size(); ++c) {
            Feature f;
            f.kind = Feature::Kind::bump;
            f.a = static_cast<std::uint16_t>(c);
            features_.push_back(f);
        }
    };
    const std::size_t before_bumps = features_.size();
    if (!bases_.empty())
        add_bumps();

    // 4. Columns of the regression, scaled.
    const std::size_t p = features_.size();
    std::vector<float> design((p + 1) * n);
    for (std::size_t f = 0; f < p; ++f)
        derive(features_[f], rows, 0, n, &design[f * n]);
    // A few columns at a time: no sum has to wait for the one before.
    constexpr std::size_t columns_abreast = 4;
    for (std::size_t from = 1; from < p; from += columns_abreast) {
        std::array<const float*, columns_abreast> from_columns{};
        for (std::size_t k = 0; k < columns_abreast; ++k) // the last one may be there twice
            from_columns[k] = &design[std::min(from + k, p - 1) * n];
        std::array<double, columns_abreast> means{};
        for (std::size_t i = 0; i < n; ++i)
            for (std::size_t k = 0; k < columns_abreast; ++k)
                means[k] += double{from_columns[k][i]};
        for (double& mean : means)
            mean /= static_cast<double>(n);
        std::array<double, columns_abreast> squares{};
        for (std::size_t i = 0; i < n; ++i)
            for (std::size_t k = 0; k < columns_abreast; ++k) {
                const double off = double{from_columns[k][i]} - means[k];
                squares[k] += off * off;
            }
        for (std::size_t k = 0; k < columns_abreast && from + k < p; ++k) {
            const double sd = std::sqrt(squares[k] / static_cast<double>(n));
            Feature& feature = features_[from + k];
            feature.mean = static_cast<float>(means[k]);
            feature.scale = sd > 1e-9 ? static_cast<float>(1 / sd) : 0.0F;
            float* const out = &design[(from + k) * n];
            for (std::size_t i = 0; i < n; ++i)
                out[i] = (out[i] - feature.mean) * feature.scale;
        }
    }
    std::copy(target_row.begin(), target_row.end(),
              design.begin() + static_cast<std::ptrdiff_t>(p * n));

    // 5. Which of them to keep, judged on blocks left out; then whether bumps add to that.
    const std::size_t good_blocks = good.blocks();
    const std::size_t block_count = good.blocks() + bad.blocks();
    std::vector<std::size_t> starts(block_count + 1, n);
    for (std::size_t b = block_count; b-- > 0;)
        starts[b] = static_cast<std::size_t>(
            std::lower_bound(blocks.begin(), blocks.end(), static_cast<std::uint8_t>(b)) -
            blocks.begin());
    std::vector<double> weights(n, 1.0);
    std::vector<std::vector<float>> grams;
    std::size_t blocks_used = good_blocks; // at first the good run alone teaches
    const auto make_grams = [&](const std::vector<float>& from, std::size_t size) {
        grams.resize(blocks_used);
        for (std::size_t b = 0; b < blocks_used; ++b)
            grams[b] = gram_of(from, n, size, starts[b], starts[b + 1]);
    };
    std::vector<std::size_t> kept{0};
    double penalty_share = 1e-3;
    {
        make_grams(design, p + 1);
        std::vector<std::size_t> choices;
        for (std::size_t f = 1; f < before_bumps; ++f)
            choices.push_back(f);
        const Pursuit pursuit = pursue(grams, sum_of(grams), p + 1, choices, p, 18, {0});
        for (std::size_t i = 0; i < pursuit.best; ++i)
            kept.push_back(pursuit.order[i]);
    }
    // The coefficients with each block left out, and the error there, of a set with a penalty.
    std::vector<std::vector<double>> left_out(block_count);
    const auto leave_out = [&](const std::vector<double>& total,
                               const std::vector<std::size_t>& set, std::size_t size,
                               double share) {
        const auto used = static_cast<double>(starts[blocks_used]);
        for (std::size_t b = 0; b < blocks_used; ++b) {
            left_out[b] = ridge_without(grams[b], total, size, set, size - 1, share * used, 1);
            if (left_out[b].empty())
                return false;
        }
        return true;
    };
    const auto judge = [&](const std::vector<double>& total, const std::vector<std::size_t>& set,
                           double share) {
        if (!leave_out(total, set, p + 1, share))
            return 1e30;
        double error = 0;
        for (std::size_t b = 0; b < blocks_used; ++b)
            error += left_in(grams[b], p + 1, set, p, left_out[b]);
        return error;
    };
    std::vector<std::size_t> with_bumps = kept;
    for (std::size_t f = before_bumps; f < p; ++f)
        if (features_[f].scale > 0)
            with_bumps.push_back(f);
    if (kept.size() > 1 && with_bumps.size() > kept.size()) {
        const std::vector<double> total = sum_of(grams);
        double best = judge(total, kept, penalty_share);
        std::vector<std::size_t> winner = kept;
        double before = std::numeric_limits<double>::infinity();
        for (const double share : {3e-2, 3e-3, 3e-4}) {
            const double error = judge(total, with_bumps, share);
            if (error > before)
                break; // with even less to hold them they only get worse
            before = error;
            if (error < 0.97 * best) {
                best = error;
                winner = with_bumps;
                penalty_share = share;
            }
        }
        kept = winner;
    }

    // Only what is kept: a smaller design, and weights that keep strays of the good run from
    // pulling.
    const std::size_t q = kept.size();
    std::vector<float> small((q + 1) * n);
    std::vector<Feature> small_features;
    for (std::size_t i = 0; i < q; ++i) {
        std::copy_n(design.begin() + static_cast<std::ptrdiff_t>(kept[i] * n), n,
                    small.begin() + static_cast<std::ptrdiff_t>(i * n));
        small_features.push_back(features_[kept[i]]);
    }
    std::copy_n(design.begin() + static_cast<std::ptrdiff_t>(p * n), n,
                small.begin() + static_cast<std::ptrdiff_t>(q * n));
    features_ = std::move(small_features);
    std::vector<std::size_t> all(q);
    std::iota(all.begin(), all.end(), std::size_t{0});
    std::vector<float> roots(n);
    std::vector<float> weighted(small.size());
    std::vector<double> total;
    std::vector<double> residual(n);
    std::vector<float> strange(n - n_good, 0.0F); // what the good run does not know, in sds
    for (int round = 0; round < 4; ++round) {
        if (round == 0) {
            // As the choice was made: all weights are 1.
            for (auto& gram : grams)
                gram = gram_part(gram, p + 1, kept);
        } else {
            for (std::size_t i = 0; i < n; ++i)
                roots[i] = static_cast<float>(std::sqrt(weights[i]));
            for (std::size_t c = 0; c <= q; ++c)
                for (std::size_t i = 0; i < n; ++i)
                    weighted[c * n + i] = small[c * n + i] * roots[i];
            make_grams(weighted, q + 1);
        }
        total = sum_of(grams);
        leave_out(total, all, q + 1, penalty_share);
        if (round == 0 && blocks_used < block_count) {
            // What the good run alone says of the other one.
            const std::vector<double> whole =
                ridge(total, q + 1, all, q, penalty_share * static_cast<double>(n_good), 1);
            for (std::size_t b = blocks_used; b < block_count; ++b)
                left_out[b] = whole;
            look_for_strange(small, whole, n, n_good, strange);
        }
        if (std::any_of(left_out.begin(), left_out.end(),
                        [](const auto& fold) { return fold.empty(); })) {
            usable_ = false;
            return;
        }
        std::fill(residual.begin(), residual.end(), 0);
        for (std::size_t b = 0; b < block_count; ++b)
            for (std::size_t c = 0; c < q; ++c) {
                const float* const column = &small[c * n];
                const double beta = left_out[b][c];
                for (std::size_t i = starts[b]; i < starts[b + 1]; ++i)
                    residual[i] += beta * double{column[i]};
            }
        for (std::size_t i = 0; i < n; ++i)
            residual[i] = double{small[q * n + i]} - residual[i];
        const std::vector<double> usual(residual.begin(),
                                        residual.begin() + static_cast<std::ptrdiff_t>(n_good));
        const double scale = std::max(1e-6, mad_factor * median_deviation(usual));
        blocks_used = block_count;
        const std::size_t trusted = set_freely ? n : n_good;
        double changed = 0;
        const auto weigh_row = [&](std::size_t i, double weight) {
            changed += std::abs(weight - weights[i]);
            weights[i] = weight;
        };
        for (std::size_t i = 0; i < trusted; ++i) {
            const double size = std::abs(residual[i]) / (2.5 * scale);
            weigh_row(i, size <= 1 ? 1 : 1 / size);
        }
        // Where the good run knows what is normal, what the other one has far from it teaches
        // nothing (Tukey's weights).
        for (std::size_t i = trusted; i < n; ++i) {
            const double reach = 10 * scale + 3 * double{strange[i - n_good]};
            const double size = residual[i] / reach;
            weigh_row(i, std::abs(size) >= 1 ? 1e-4 : std::pow(1 - size * size, 2));
        }
        constexpr double settled = 0.01; // a row
        if (round > 0 && changed < settled * static_cast<double>(n))
            break;
    }
    block_beta_.resize(block_count);
    for (std::size_t b = 0; b < block_count; ++b)
        block_beta_[b].assign(left_out[b].begin(), left_out[b].end());
    const std::vector<double> beta =
        ridge(total, q + 1, all, q, penalty_share * static_cast<double>(n), 1);
    if (beta.empty())
        return;
    beta_.assign(beta.begin(), beta.end());
    for (float& b : beta_)
        b *= range.sd;
    for (auto& fold : block_beta_)
        for (float& b : fold)
            b *= range.sd;
    beta_[0] += mean_;
    for (auto& fold : block_beta_)
        fold[0] += mean_;

    // 6. Which signals carry it: what the prediction loses when one stands still.
    std::vector<std::uint16_t> signals;
    for (const Base& one : bases_)
        if (std::find(signals.begin(), signals.end(), one.signal) == signals.end())
            signals.push_back(one.signal);
    const std::size_t probe = std::max<std::size_t>(1, n / 100);
    std::vector<std::vector<float>> probed(bases_.size());
    for (std::size_t b = 0; b < bases_.size(); ++b)
        for (std::size_t i = 0; i < n; i += probe)
            probed[b].push_back(rows[b][i]);
    const std::size_t probes = (n + probe - 1) / probe;
    std::vector<float> x(probes);
    const auto predict = [&](const std::vector<std::vector<float>>& from) {
        std::vector<float> fitted(probes, 0.0F);
        for (std::size_t c = 0; c < q; ++c) {
            derive(features_[c], from, 0, probes, x.data());
            for (std::size_t i = 0; i < probes; ++i)
                fitted[i] += beta_[c] * ((x[i] - features_[c].mean) * features_[c].scale);
        }
        return fitted;
    };
    const std::vector<float> as_it_was = predict(probed);
    for (const std::uint16_t signal : signals) {
        std::vector<std::vector<float>> still = probed;
        for (std::size_t b = 0; b < bases_.size(); ++b)
            if (bases_[b].signal == signal)
                std::fill(still[b].begin(), still[b].end(), bases_[b].middle);
        const std::vector<float> without = predict(still);
        double squares = 0;
        for (std::size_t i = 0; i < probes; ++i) {
            const double change = as_it_was[i] - without[i];
            squares += change * change;
        }
        const double weight =
            std::sqrt(squares / static_cast<double>(std::max<std::size_t>(1, probes)));
        if (weight > 1e-3 * range.sd)
            uses_.push_back({signal, weight});
    }
    std::sort(uses_.begin(), uses_.end(),
              [](const Use& a, const Use& b) { return a.weight > b.weight; });

    for (const Use& use : uses_)
        for (Base& one : bases_)
            if (one.signal == use.signal) {
                one.pull = static_cast<float>(use.weight / survey.range(use.signal).sd);
                break;
            }

    // 7. What was seen, in units of what it does to the prediction.
    for (const Use& use : uses_) {
        if (seen_bases_.size() >= 6)
            break;
        for (std::size_t b = 0; b < bases_.size(); ++b)
            if (bases_[b].signal == use.signal) {
                seen_bases_.push_back(static_cast<std::uint16_t>(b));
                seen_weight_.push_back(
                    static_cast<float>(use.weight / survey.range(use.signal).sd));
                break;
            }
    }
    if (!seen_bases_.empty()) {
        const std::size_t seen_stride = std::max<std::size_t>(1, (n + seen_rows - 1) / seen_rows);
        std::vector<float> seen;
        for (std::size_t k = 0; k < seen_bases_.size(); ++k)
            for (std::size_t i = 0; i < n; i += seen_stride)
                seen.push_back(rows[seen_bases_[k]][i] * seen_weight_[k]);
        seen_ = Neighbours(seen, seen.size() / seen_bases_.size());
        for (const std::uint32_t row : seen_.rows())
            seen_block_.push_back(blocks[row * seen_stride]);
    }
    usable_ = true;
    fit(survey);
}

/// How far each row of the other run is from all of the good run's, in what the features do to the
/// prediction.
void Model::look_for_strange(const std::vector<float>& design, const std::vector<double>& beta,
                             std::size_t n, std::size_t n_good, std::vector<float>& out) {
    constexpr std::size_t most_features = 8;
    std::vector<std::pair<double, std::size_t>> strongest;
    for (std::size_t c = 1; c < beta.size(); ++c)
        strongest.emplace_back(-std::abs(beta[c]), c);
    std::sort(strongest.begin(), strongest.end());
    strongest.resize(std::min(strongest.size(), most_features));
    const std::size_t d = strongest.size();
    constexpr std::size_t most_known = 300;
    const std::size_t stride = (n_good + most_known - 1) / most_known;
    if (d == 0)
        return;
    std::vector<float> known;
    for (const auto& [weight, c] : strongest)
        for (std::size_t i = 0; i < n_good; i += stride)
            known.push_back(static_cast<float>(-weight) * design[c * n + i]);
    const Neighbours neighbours(known, known.size() / d);
    std::vector<float> more(neighbours.places(), Neighbours::far_off);
    std::fill_n(more.begin(), neighbours.rows().size(), 0.0F);
    std::array<float, most_features> here{};
    for (std::size_t i = n_good; i < n; ++i) {
        for (std::size_t k = 0; k < d; ++k)
            here[k] = static_cast<float>(-strongest[k].first) * design[strongest[k].second * n + i];
        out[i - n_good] = std::sqrt(neighbours.nearest({here.data(), d}, more));
    }
}

/// One feature over the rows [from, to).
void Model::derive(const Feature& feature, const std::vector<std::vector<float>>& base,
                   std::size_t from, std::size_t to, float* out) const {
    const std::size_t n = to - from;
    const auto column = [&](std::size_t which) { return base[which].data() + from; };
    switch (feature.kind) {
    case Feature::Kind::one:
        std::fill_n(out, n, 1.0F);
        break;
    case Feature::Kind::base:
        std::copy_n(column(feature.a), n, out);
        break;
    case Feature::Kind::square: {
        const float* const a = column(feature.a);
        for (std::size_t i = 0; i < n; ++i)
            out[i] = a[i] * a[i];
        break;
    }
    case Feature::Kind::product: {
        const float* const a = column(feature.a);
        const float* const b = column(feature.b);
        for (std::size_t i = 0; i < n; ++i)
            out[i] = a[i] * b[i];
        break;
    }
    case Feature::Kind::ratio: {
        const float* const a = column(feature.a);
        const float* const b = column(feature.b);
        for (std::size_t i = 0; i < n; ++i)
            out[i] = a[i] / (std::max(0.0F, b[i]) + feature.offset);
        break;
    }
    case Feature::Kind::density: {
        const float* const a = column(feature.a);
        const float* const b = column(feature.b);
        const float* const c = column(feature.c);
        for (std::size_t i = 0; i < n; ++i)
            out[i] = a[i] * b[i] / std::max(100.0F, c[i] + kelvin);
        break;
    }
    case Feature::Kind::charge: {
        const float* const a = column(feature.a);
        const float* const b = column(feature.b);
        const float* const c = column(feature.c);
        for (std::size_t i = 0; i < n; ++i)
            out[i] =
                a[i] * std::max(100.0F, c[i] + kelvin) / (std::max(0.0F, b[i]) + feature.offset);
        break;
    }
    case Feature::Kind::bump: {
        const std::size_t d = bump_bases_.size();
        for (std::size_t k = 0; k < d; ++k) {
            const float* const a = column(bump_bases_[k]);
            const float scale = bump_scale_[k];
            const float centre = bump_centres_[feature.a * d + k];
            for (std::size_t i = 0; i < n; ++i) {
                const float delta = a[i] * scale - centre;
                out[i] = (k > 0 ? out[i] : 0.0F) + delta * delta;
            }
        }
        const float reach = bump_reach_ * bump_reach_;
        for (std::size_t i = 0; i < n; ++i)
            out[i] = bump(out[i] / reach);
        break;
    }
    }
}

void Model::evaluate(const Drive& drive, const std::vector<double>& t,
                     std::vector<std::vector<float>>& columns, std::vector<float>& beyond) const {
    columns.assign(bases_.size(), {});
    beyond.assign(t.size(), 0);
    std::vector<Drive::Place> places;
    if (std::any_of(bases_.begin(), bases_.end(),
                    [](const Base& one) { return one.form != Form::plain; }))
        for (const double one : t)
            places.push_back(drive.place(one));
    for (std::size_t b = 0; b < bases_.size(); ++b) {
        const Base& one = bases_[b];
        std::vector<float>& out = columns[b];
        out.resize(t.size());
        Cursor cursor(drive.track(one.signal));
        for (std::size_t i = 0; i < t.size(); ++i) {
            const float value = one.form == Form::plain
                                    ? cursor.at(t[i])
                                    : drive.slowed(one.signal, one.form, places[i]);
            out[i] = std::isnan(value) ? missing : std::clamp(value, one.low, one.high);
            if (value < one.low || value > one.high)
                beyond[i] += one.pull * std::abs(value - out[i]);
        }
    }
}

Trace Model::run_over(const Drive& drive) const {
    const Track& track = drive.track(target_);
    const std::size_t n = track.size();
    Trace trace = blank_trace(track);
    std::vector<std::vector<float>> columns;
    std::vector<float> beyond;
    evaluate(drive, trace.t, columns, beyond);
    const std::size_t q = features_.size();
    const std::size_t folds = block_beta_.size();
    trace.slope.assign(n, 0);
    trace.unsure.assign(n, 0);
    trace.distance.assign(n, 0);
    trace.moved.assign(n, 0);
    const std::vector<char> there = rows_there(columns, n);
    // The rows of one block at a time, of which a few stay near at hand.
    constexpr std::size_t batch = 64;
    std::vector<float> x(q * batch);
    std::array<float, batch> fitted{};
    std::vector<float> here(seen_bases_.size());
    // What each fold makes of a feature, the folds side by side.
    constexpr std::size_t abreast = 5;
    const std::size_t fold_places =
        (folds + abreast * lane_count - 1) / (abreast * lane_count) * (abreast * lane_count);
    std::vector<float> by_feature(q * fold_places, 0.0F);
    for (std::size_t f = 0; f < folds; ++f)
        for (std::size_t c = 0; c < q; ++c)
            by_feature[c * fold_places + f] = block_beta_[f][c];
    std::vector<float> values(fold_places);
    std::vector<float> barred(seen_.places(), Neighbours::far_off);
    std::size_t far_from = static_cast<std::size_t>(-1);
    const std::size_t look = std::max<std::size_t>(1, n / 1000);
    float last_spread = 0;
    float last_distance = 0;
    std::size_t looked = n;
    std::size_t familiar = 0;
    std::size_t asked = 0;
    const auto look_at = [&](std::size_t i, std::size_t own, const float* row) {
        double sum = 0;
        double squares = 0;
        for (std::size_t from = 0; from < fold_places; from += abreast * lane_count) {
            std::array<Lanes, abreast> sums{};
            for (std::size_t c = 0; c < q; ++c) {
                const Lanes value = lanes_of(row[c * batch]);
                for (std::size_t k = 0; k < abreast; ++k)
                    sums[k] +=
                        lanes_at(&by_feature[c * fold_places + from + k * lane_count]) * value;
            }
            std::memcpy(&values[from], sums.data(), sizeof sums);
        }
        for (std::size_t f = 0; f < folds; ++f) {
            sum += double{values[f]};
            squares += double{values[f]} * double{values[f]};
        }
        const auto k = static_cast<double>(folds);
        const double variance = std::max(0.0, squares / k - sum / k * (sum / k));
        last_spread = static_cast<float>(std::sqrt(variance * (k - 1)));
        if (!seen_.empty()) {
            for (std::size_t d = 0; d < here.size(); ++d)
                here[d] = columns[seen_bases_[d]][i] * seen_weight_[d];
            if (own != far_from) {
                far_from = own;
                for (std::size_t s = 0; s < seen_block_.size(); ++s)
                    barred[s] = seen_block_[s] == own ? Neighbours::far_off : 0.0F;
            }
            last_distance = std::sqrt(seen_.nearest(here, barred));
        }
        ++asked;
        if (last_distance < 0.25F * survey_->range(target_).sd)
            ++familiar;
    };
    // How sure the prediction is changes as its predictors do: looked at where they moved it, and
    // now and then.
    constexpr std::size_t seldom = 4;
    const float little = 0.04F * survey_->range(target_).sd;
    const auto moved_since = [&](std::size_t before, std::size_t i) {
        float by = 0;
        for (std::size_t d = 0; d < seen_bases_.size(); ++d) {
            const std::vector<float>& column = columns[seen_bases_[d]];
            by += std::abs(column[i] - column[before]) * seen_weight_[d];
        }
        return by > little;
    };
    const Series& series = good_->track(target_).series();
    constexpr float endless = std::numeric_limits<float>::infinity();
    const float least = series.has_ends ? static_cast<float>(series.low) : -endless;
    const float most = series.has_ends ? static_cast<float>(series.high) : endless;
    for (std::size_t from = 0; from < n;) {
        const std::size_t own = drive.block(trace.t[from]);
        std::size_t to = from + 1;
        while (to < n && to - from < batch && drive.block(trace.t[to]) == own)
            ++to;
        const std::vector<float>& beta = block_beta_[own];
        fitted.fill(0);
        for (std::size_t c = 0; c < q; ++c) {
            float* const column = &x[c * batch];
            derive(features_[c], columns, from, to, column);
            const float mean = features_[c].mean;
            const float scale = features_[c].scale;
            const float factor = beta[c];
            for (std::size_t i = 0; i < to - from; ++i) {
                column[i] = (column[i] - mean) * scale;
                fitted[i] += factor * column[i];
            }
        }
        for (std::size_t i = from; i < to; ++i) {
            if (there[i] == 0)
                continue;
            if (looked == n || i - looked >= seldom * look ||
                (i - looked >= look && moved_since(looked, i))) {
                looked = i;
                look_at(i, own, &x[i - from]);
            }
            trace.unsure[i] = last_spread * last_spread + 4 * beyond[i] * beyond[i];
            // No sensor reads beyond its ends.
            trace.fitted[i] = std::clamp(fitted[i - from], least, most);
            trace.distance[i] = last_distance;
        }
        from = to;
    }
    set_aside(drive, trace);
    trace.familiar = asked == 0 ? 0 : static_cast<double>(familiar) / static_cast<double>(asked);
    // Where the predicted course bends sharply, what lies between two samples is anybody's guess.
    trace.bend.assign(n, 0);
    for (std::size_t i = 1; i + 1 < n; ++i)
        if (trace.piece[i - 1] == trace.piece[i + 1]) {
            const float turn =
                std::abs(trace.fitted[i - 1] - 2 * trace.fitted[i] + trace.fitted[i + 1]);
            if (!std::isnan(turn))
                for (const std::size_t k : {i - 1, i, i + 1})
                    trace.bend[k] = std::max(trace.bend[k], turn);
        }
    double slack = track.interval();
    for (const Base& one : bases_)
        slack = std::max(slack, drive.track(one.signal).interval());
    slack = std::min(0.6 * slack + 0.05, 2.0);
    trace.low = trace.fitted;
    trace.high = trace.fitted;
    for (std::size_t i = 0, first = 0; i < n; ++i) {
        while (trace.t[first] < trace.t[i] - slack)
            ++first;
        bool before = bases_.empty();
        bool after = before;
        for (std::size_t k = std::min(first, i > 0 ? i - 1 : i);
             k < n && (k <= i + 1 || trace.t[k] <= trace.t[i] + slack); ++k) {
            const float f = trace.fitted[k];
            if (trace.piece[k] != trace.piece[i] || std::isnan(f))
                continue;
            before = before || k <= i;
            after = after || k >= i;
            if (!(trace.low[i] <= f))
                trace.low[i] = f;
            if (!(trace.high[i] >= f))
                trace.high[i] = f;
        }
        // Where nothing is expected any more (a predictor's last sample is older), or not yet, the
        // others may have gone anywhere.
        if (!before || !after)
            trace.low[i] = trace.high[i] = missing;
    }
    trace.stir.resize(n);
    for (std::size_t i = 0; i < n; ++i)
        trace.stir[i] = drive.stir(target_, trace.t[i]);
    for (std::size_t i = 0; i < n; ++i) {
        if (std::isnan(trace.fitted[i]))
            continue;
        const std::size_t a =
            i > 0 && !std::isnan(trace.fitted[i - 1]) && trace.piece[i - 1] == trace.piece[i]
                ? i - 1
                : i;
        const std::size_t b =
            i + 1 < n && !std::isnan(trace.fitted[i + 1]) && trace.piece[i + 1] == trace.piece[i]
                ? i + 1
                : i;
        if (b > a) {
            const float change = trace.fitted[b] - trace.fitted[a];
            trace.moved[i] = std::abs(change) / static_cast<float>(b - a);
            const double between = trace.t[b] - trace.t[a];
            trace.slope[i] = between > 0 ? change / static_cast<float>(between) : 0;
        }
    }
    return trace;
}

/// What a whole run is off by may be the day's doing (the weather, the fuel) and counts for less
/// than what comes or goes within it.
void Model::allow_for_the_day(Trace& trace) {
    constexpr float share = 0.8F;
    const auto by = share * static_cast<float>(day_level(trace.t.size(), [&](std::size_t i) {
                        return double{trace.y[i]} - double{trace.fitted[i]};
                    }));
    for (auto* course : {&trace.fitted, &trace.low, &trace.high})
        for (float& value : *course)
            value += by;
}

/// What is no evidence: the first seconds of a recording and those after a gap, since what went
/// before is not known, stretches with the engine stopped where the good run has none, and what the
/// ECU sets freely where it is off.
void Model::set_aside(const Drive& drive, Trace& trace) const {
    double settling = 4;
    for (const Base& one : bases_) {
        if (one.form == Form::before4)
            settling = std::max(settling, 8.0);
        if (one.form == Form::before16)
            settling = std::max(settling, 20.0);
    }
    double fresh = 0;
    trace.silence.assign(trace.t.size(), Silence::none);
    const std::ptrdiff_t rpm = survey_->rpm;
    const bool never_stopped = survey_->least_rpm > 0 && static_cast<std::size_t>(rpm) != target_;
    const Range& own = survey_->range(target_);
    const float undefined = undefined_from(drive.track(target_).series());
    constexpr float cold = 15;
    // A run that begins far colder warms up first.
    bool colder = &drive == bad_ && drive.track(target_).series().unit == Unit::celsius &&
                  !trace.y.empty() && trace.y.front() < own.low - cold;
    for (std::size_t i = 0; i < trace.t.size(); ++i) {
        const double t = trace.t[i];
        colder = colder && trace.y[i] < own.low;
        if (i > 0 && trace.piece[i] != trace.piece[i - 1] &&
            t - trace.t[i - 1] > 1 + 2 * trace.interval)
            fresh = t;
        if (std::isnan(trace.fitted[i]))
            continue;
        bool aside = colder;
        if (never_stopped) {
            const auto signal = static_cast<std::size_t>(rpm);
            for (double back = -1; back <= 2 && !aside; back += 0.5)
                aside = drive.slowed(signal, Form::plain, t - back) < survey_->least_rpm;
        }
        // Off is what the ECU may set it to whatever the others do.
        aside = aside || trace.y[i] <= off_ || trace.y[i] >= undefined;
        const bool early = t < fresh + settling;
        constexpr double begun = 4;
        if (t >= begun && colder)
            trace.silence[i] = Silence::warming_up;
        else if (t >= begun && early && !aside)
            trace.silence[i] = Silence::after_gap;
        if (early || aside)
            trace.fitted[i] = missing;
    }
}

/// A temperature far outside of all that the good run had (a cold start, say) may change what goes
/// with what.
void Model::doubt_the_cold() {
    constexpr float far = 15;
    constexpr float apart = 1.0F; // as much again
    Trace& trace = bad_course_;
    doubt_.assign(trace.t.size(), 0);
    for (std::size_t k = 0; k < bad_->signals(); ++k) {
        const Range& range = survey_->range(k);
        if (k == target_ || !range.known || !range.slow || !bad_->track(k).present() ||
            bad_->track(k).series().unit != Unit::celsius)
            continue;
        for (std::size_t i = 0; i < trace.t.size(); ++i) {
            const float value = bad_->slowed(k, Form::before4, trace.t[i]);
            if (value < range.low - far || value > range.high + far)
                doubt_[i] = apart;
        }
    }
}

/// The scale of a normal difference at each sample, from what makes differences large there.
void Model::weigh(Trace& trace) const {
    const std::size_t n = trace.t.size();
    const float sd = survey_->range(target_).sd;
    trace.local.assign(n, missing);
    for (std::size_t i = 0; i < n; ++i) {
        if (std::isnan(trace.fitted[i]))
            continue;
        const float s1 = scale_b_ * trace.moved[i];
        // Further from what was seen than the good run's own blocks are from each other: not sure.
        const float s2 =
            scale_c_ * trace.distance[i] + 0.7F * std::max(0.0F, trace.distance[i] - usual_far_);
        const float s3 = scale_d_ * trace.stir[i];
        const float s4 = scale_e_ * trace.bend[i];
        trace.sigma[i] = std::sqrt(scale_a_ * scale_a_ + s1 * s1 + s2 * s2 + s3 * s3 + s4 * s4 +
                                   trace.unsure[i]);
        if (&trace == &bad_course_ && !doubt_.empty())
            trace.sigma[i] *= 1 + doubt_[i];
        trace.z[i] = (trace.y[i] - trace.fitted[i]) / trace.sigma[i];
        // Where nothing tells the value: while the others move, something happens on the road that
        // this one alone may show sharper.
        const float s7 = 2 * s3 + 0.1F * sd * trace.stir[i];
        trace.local[i] = locked_
                             ? std::sqrt(s1 * s1 + s2 * s2 + s3 * s3 + s4 * s4 + trace.unsure[i])
                             : std::sqrt(s1 * s1 + s4 * s4 + s7 * s7);
    }
    const auto cold = std::find(trace.silence.begin(), trace.silence.end(), Silence::warming_up);
    if (cold != trace.silence.end() && std::isnan(trace.sigma.front())) {
        // A warm-up has the good run's scale.
        std::vector<double> scales;
        for (const float one : good_course_.sigma)
            if (!std::isnan(one))
                scales.push_back(double{one});
        const float usual = scales.empty() ? missing : static_cast<float>(median(scales));
        for (std::size_t i = 0; i < n && std::isnan(trace.sigma[i]); ++i)
            if (trace.silence[i] == Silence::warming_up)
                trace.sigma[i] = usual;
    }
    // A window whose middle is missing still has a scale.
    for (std::size_t i = 1; i < n; ++i)
        if (std::isnan(trace.sigma[i]))
            trace.sigma[i] = trace.sigma[i - 1];
    look_around(trace);
}

/// How much the differences scatter about each sample, leaving itself and its neighbours aside: in
/// a calm stretch a small stray tells, in a lively one it does not.
void Model::look_around(Trace& trace) const {
    const std::size_t n = trace.t.size();
    const double step = good_->track(target_).series().step;
    const float floor = std::max({0.6F * static_cast<float>(step), 0.25F * scale_a_, 1e-9F});
    constexpr std::size_t reach = 12;
    constexpr std::size_t own = 4;
    constexpr float nowhere_bent = -1;
    std::vector<float> bends(n, nowhere_bent);
    for (std::size_t i = 1; i + 1 < n; ++i)
        if (trace.piece[i - 1] == trace.piece[i + 1])
            bends[i] = std::abs((trace.y[i] - trace.fitted[i]) -
                                0.5F * ((trace.y[i - 1] - trace.fitted[i - 1]) +
                                        (trace.y[i + 1] - trace.fitted[i + 1])));
    for (float& bend : bends)
        bend = bend >= 0 ? bend : nowhere_bent; // not-a-number is none
    float around = scale_a_;
    constexpr std::size_t often = 3; // it changes slowly
    std::size_t looked = n;
    for (std::size_t i = 0; i < n; ++i) {
        if (std::isnan(trace.z[i]))
            continue;
        if (looked == n || i >= looked + often) {
            looked = i;
            // The greatest, of which a quarter of all is wanted.
            std::array<float, (2 * (reach - own + 1) + 3) / 4> greatest;
            greatest.fill(nowhere_bent);
            std::size_t count = 0;
            const auto take = [&](std::size_t k) {
                float value = trace.piece[k] == trace.piece[i] ? bends[k] : nowhere_bent;
                count += value >= 0 ? 1 : 0;
                for (float& one : greatest) {
                    const float lesser = std::min(one, value);
                    one = std::max(one, value);
                    value = lesser;
                }
            };
            for (std::size_t k = own; k <= reach; ++k) {
                if (k <= i)
                    take(i - k);
                if (i + k < n)
                    take(i + k);
            }
            around = scale_a_;
            if (count >= 6)
                around = 1.3F * greatest[count - 1 - count * 3 / 4];
        }
        const float moving = trace.local[i];
        trace.local[i] = std::sqrt(floor * floor + around * around + moving * moving);
    }
    for (std::size_t i = 1; i < n; ++i)
        if (std::isnan(trace.local[i]))
            trace.local[i] = trace.local[i - 1];
}

void Model::fit(const Survey& survey) {
    // The scale of a normal difference, as a sum of what makes differences large: weights by
    // non-negative regression of the sizes of the differences on blocks left out.
    good_course_ = run_over(*good_);
    bad_course_ = run_over(*bad_);
    allow_for_the_day(bad_course_);
    const Trace& raw = good_course_;
    const bool alone = bases_.empty();
    constexpr std::size_t parts = 5;
    std::vector<double> size;
    std::vector<double> far;
    std::array<std::vector<double>, parts> x; // x[0] is 1
    double squares = 0;
    double left = 0;
    const Range& range = survey.range(target_);
    for (std::size_t i = 0; i < raw.t.size(); ++i) {
        if (std::isnan(raw.fitted[i]))
            continue;
        const double r = raw.y[i] - raw.fitted[i];
        squares += (raw.y[i] - mean_) * (raw.y[i] - mean_);
        left += r * r;
        double here = std::abs(r);
        if (alone) { // nothing tells its value: what counts is how it moves
            if (i == 0 || i + 1 >= raw.t.size() || raw.piece[i - 1] != raw.piece[i + 1])
                continue;
            here = std::abs(raw.y[i] - 0.5 * (raw.y[i - 1] + raw.y[i + 1])) * 0.82;
        }
        size.push_back(here);
        far.push_back(raw.distance[i]);
        x[0].push_back(1);
        x[1].push_back(double{raw.moved[i]});
        x[2].push_back(double{raw.distance[i]});
        x[3].push_back(double{raw.stir[i]});
        x[4].push_back(double{raw.bend[i]});
    }
    usual_far_ = static_cast<float>(quantile(far, 0.95));
    const std::size_t count = size.size();
    const double step = good_->track(target_).series().step;
    const double floor = std::max({0.5 * step, 1e-4 * range.sd, 1e-9});
    if (count < 30) {
        usable_ = false;
        return;
    }
    explained_ = squares > 0 && !alone ? std::clamp(1 - left / squares, 0.0, 1.0) : 0;
    const double middle = median(size);
    std::array<double, parts> w{std::max(floor, mad_factor * middle), 0.3, 0.1, 0.1, 0.1};
    std::vector<double> weights(count);
    std::vector<double> targets(count);
    std::array<double, parts> usual{};
    for (std::size_t a = 0; a < parts; ++a)
        for (const double one : x[a])
            usual[a] += one / static_cast<double>(count);
    constexpr double settled = 2e-3; // of what it usually comes to
    double change = 1;
    for (int round = 0; round < 12 && change > settled; ++round) {
        const std::array<double, parts> before = w;
        // One step of iterated weighting; coordinates in turn, none below zero.
        for (std::size_t i = 0; i < count; ++i) {
            double now = 0;
            for (std::size_t a = 0; a < parts; ++a)
                now += w[a] * x[a][i];
            weights[i] = 1 / (now * now);
            targets[i] = 1.2533 * std::min(size[i], 4 * now);
        }
        // The lower half of the symmetric matrix row by row, the target beside it.
        std::array<std::array<double, parts + 1>, parts> sums{};
        for (std::size_t i = 0; i < count; ++i) {
            const std::array<double, parts + 1> row{x[0][i], x[1][i], x[2][i],
                                                    x[3][i], x[4][i], targets[i]};
            for (std::size_t a = 0; a < parts; ++a) {
                const double weighted = weights[i] * row[a];
                for (std::size_t b = 0; b <= a; ++b)
                    sums[a][b] += weighted * row[b];
                sums[a][parts] += weighted * row[parts];
            }
        }
        for (int sweep = 0; sweep < 30; ++sweep)
            for (std::size_t a = 0; a < parts; ++a) {
                double rest = sums[a][parts];
                for (std::size_t b = 0; b < parts; ++b)
                    if (b != a)
                        rest -= (b < a ? sums[a][b] : sums[b][a]) * w[b];
                const double value = sums[a][a] > 1e-12 ? std::max(0.0, rest / sums[a][a]) : 0;
                w[a] = a == 0 ? std::max(value, floor) : value;
            }
        double all = 0;
        change = 0;
        for (std::size_t a = 0; a < parts; ++a) {
            all += w[a] * usual[a];
            change += std::abs(w[a] - before[a]) * usual[a];
        }
        change /= all;
    }
    scale_a_ = static_cast<float>(w[0]);
    scale_b_ = static_cast<float>(w[1]);
    scale_c_ = static_cast<float>(std::max(w[2], 0.1));
    scale_d_ = static_cast<float>(w[3]);
    scale_e_ = static_cast<float>(std::max(w[4], 0.2));
    if (alone) {
        usual_ = mad_factor * middle;
        weigh(good_course_);
        weigh(bad_course_);
        return;
    }
    weigh(good_course_);
    const Trace& good = good_course_;
    std::vector<double> z;
    for (std::size_t i = 0; i < good.t.size(); ++i)
        if (!std::isnan(good.z[i]))
            z.push_back(std::abs(good.z[i]));
    std::size_t swings = 0;
    for (const Trace* course : {&good_course_, &bad_course_}) {
        int side = 0;
        for (const float fitted : course->fitted) {
            const float d = (fitted - mean_) / range.sd;
            const int now = d > 0.4F ? 1 : d < -0.4F ? -1 : 0; // not-a-number: neither
            if (now != 0 && now != side) {
                swings += side != 0 ? 1 : 0;
                side = now;
            }
        }
    }
    const double unit = mad_factor * median(z);
    const double factor = std::max(unit, 0.5 * floor / scale_a_);
    scale_a_ = static_cast<float>(std::max(floor, scale_a_ * factor));
    scale_b_ *= static_cast<float>(factor);
    scale_c_ *= static_cast<float>(factor);
    scale_d_ *= static_cast<float>(factor);
    scale_e_ *= static_cast<float>(factor);
    // While things move, timing alone makes differences, whether the good run showed it or not.
    scale_b_ = std::max(scale_b_, 0.05F);
    scale_e_ = std::max(scale_e_, 0.25F);
    swings_ = swings;
    usual_ = mad_factor * middle;
    usual_ = std::max(usual_, floor);
    locked_ = explained_ >= 0.75 && (swings_ >= 10 || (swings_ >= 4 && explained_ >= 0.9));
    weigh(good_course_);
    doubt_the_cold();
    weigh(bad_course_);
}

void Model::forget(bool keep_bad) {
    good_course_ = {};
    if (!keep_bad) {
        bad_course_ = {};
        return;
    }
    for (auto* part : {&bad_course_.low, &bad_course_.high, &bad_course_.slope, &bad_course_.stir,
                       &bad_course_.local, &bad_course_.moved, &bad_course_.distance,
                       &bad_course_.bend, &bad_course_.unsure}) {
        part->clear();
        part->shrink_to_fit();
    }
    bad_course_.silence = {};
}

bool Model::uses(std::size_t signal) const {
    return std::any_of(uses_.begin(), uses_.end(),
                       [&](const Use& use) { return use.signal == signal; });
}

} // namespace telltale::run

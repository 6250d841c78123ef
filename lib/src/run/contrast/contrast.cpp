// SPDX-License-Identifier: Apache-2.0
#include "telltale/run/contrast.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <memory>
#include <optional>
#include <span>
#include <utility>

#include "alike.hpp"
#include "allowances.hpp"
#include "drive.hpp"
#include "model.hpp"
#include "run/robust.hpp"
#include "scan.hpp"
#include "ties.hpp"
#include "traits.hpp"
#include "words.hpp"

namespace telltale::run {
namespace {

constexpr std::size_t most_episodes = 64;
constexpr std::size_t most_alarmed = 10;
constexpr double second_ns = 1e9;

/// One signal's models in one bad run, and what was found there.
struct Candidate {
    std::vector<std::unique_ptr<Model>> models;
    std::vector<Hit> hits;     // the strongest first
    std::optional<Trace> tied; // beside what a close tie makes expect, for hits of that sign
    std::vector<std::size_t> tied_to;
    std::size_t rival = Ties::nobody; // a signal that would explain as well what left its ties
    double score() const { return hits.empty() ? 0 : double{hits.front().score}; }
};

bool same_signal(const Series& a, const Series& b) {
    return plain_id(a) == plain_id(b) && a.index == b.index && a.kind == b.kind &&
           (a.ecu == b.ecu || a.ecu.empty() || b.ecu.empty());
}

/// Held at the ends of what a time can say.
Time shifted(Time time, Time by) {
    if (by > 0 && time > std::numeric_limits<Time>::max() - by)
        return std::numeric_limits<Time>::max();
    if (by < 0 && time <= no_time - by)
        return no_time + 1;
    return time + by;
}

Time from_seconds(const Run& run, double seconds) {
    constexpr double most = 9.2e18;
    return shifted(run.start,
                   static_cast<Time>(std::llround(std::clamp(seconds * second_ns, -most, most))));
}

ContrastSignal described(const Series& series, std::size_t bad_runs) {
    ContrastSignal signal;
    signal.ecu = series.ecu;
    signal.line = series.line;
    signal.service = series.service;
    signal.id = series.id;
    signal.index = series.index;
    signal.id_text = series.id_text();
    signal.name = series.name;
    signal.key = series.key;
    signal.unit = series.unit;
    signal.own_unit = series.own_unit;
    signal.decimals = series.decimals;
    signal.bad_series.assign(bad_runs, ContrastSignal::npos);
    return signal;
}

double rate_of(const Run& run, const Series& series) {
    const double length = run.length();
    return length > 0 ? static_cast<double>(series.size()) / length : 0;
}

bool about_ties(Sign sign) {
    return sign == Sign::untied || sign == Sign::frayed || sign == Sign::trailing;
}

class Comparison {
  public:
    Comparison(const Run& good, std::span<const Run* const> bad, const ContrastOptions& options)
        : good_run_(good), bad_runs_(bad.begin(), bad.end()), options_(options) {}

    ContrastResult go() {
        match();
        cover();
        prepare();
        for (std::size_t r = 0; r < bad_runs_.size(); ++r)
            for (std::size_t k = 0; k < signals_; ++k)
                if (comparable_[k])
                    candidates_[r][k] = learn(k, r, std::vector<char>(signals_, 0));
        for (std::size_t k = 0; k < signals_; ++k)
            judge(k);
        for (std::size_t r = 0; r < bad_runs_.size(); ++r)
            settle_on(r);
        rank();
        note();
        if (options_.keep_expectations)
            keep_expectations();
        return std::move(result_);
    }

  private:
    bool asked_for(const ContrastSignal& signal) const {
        return options_.only.empty() ||
               std::any_of(options_.only.begin(), options_.only.end(), [&](const Pick& pick) {
                   return pick.fits(signal.ecu, signal.id, signal.index, signal.key, signal.name);
               });
    }

    void match() {
        std::vector<std::vector<char>> taken;
        for (const Run* bad : bad_runs_)
            taken.emplace_back(bad->series.size(), 0);
        for (std::size_t i = 0; i < good_run_.series.size(); ++i) {
            const Series& series = good_run_.series[i];
            ContrastSignal signal = described(series, bad_runs_.size());
            signal.good_series = i;
            signal.good_samples = series.size();
            signal.good_rate = rate_of(good_run_, series);
            for (std::size_t r = 0; r < bad_runs_.size(); ++r)
                for (std::size_t b = 0; b < bad_runs_[r]->series.size(); ++b)
                    if (taken[r][b] == 0 && same_signal(series, bad_runs_[r]->series[b])) {
                        taken[r][b] = 1;
                        signal.bad_series[r] = b;
                        signal.bad_samples += bad_runs_[r]->series[b].size();
                        signal.bad_rate = std::max(signal.bad_rate,
                                                   rate_of(*bad_runs_[r], bad_runs_[r]->series[b]));
                        break;
                    }
            result_.signals.push_back(std::move(signal));
        }
        signals_ = result_.signals.size();
        for (std::size_t r = 0; r < bad_runs_.size(); ++r)
            for (std::size_t b = 0; b < bad_runs_[r]->series.size(); ++b)
                if (taken[r][b] == 0) {
                    const Series& series = bad_runs_[r]->series[b];
                    ContrastSignal signal = described(series, bad_runs_.size());
                    signal.bad_series[r] = b;
                    signal.bad_samples = series.size();
                    signal.bad_rate = rate_of(*bad_runs_[r], series);
                    signal.standing = Standing::only_bad;
                    result_.signals.push_back(std::move(signal));
                }
    }

    void cover() {
        for (const Run* bad : bad_runs_) {
            Coverage coverage;
            coverage.name = bad->name;
            coverage.start = bad->start;
            coverage.end = bad->end;
            coverage.seconds = bad->length();
            coverage.good_seconds = good_run_.length();
            coverage.reference = bad->start;
            if (options_.mark && bad->start != no_time &&
                std::abs(*options_.mark) <= ContrastOptions::farthest_mark) {
                coverage.reference = from_seconds(*bad, *options_.mark);
                coverage.reference_is_mark = true;
            } else if (!bad->marks.empty()) {
                coverage.reference = bad->marks.front().time;
                coverage.reference_is_mark = true;
            }
            std::size_t samples = 0;
            for (const Series& series : bad->series)
                samples += series.size();
            if (coverage.seconds > 0)
                coverage.samples_a_second = static_cast<double>(samples) / coverage.seconds;
            result_.coverage.push_back(std::move(coverage));
        }
    }

    void prepare() {
        std::vector<std::ptrdiff_t> places(signals_);
        for (std::size_t k = 0; k < signals_; ++k)
            places[k] = static_cast<std::ptrdiff_t>(result_.signals[k].good_series);
        good_ = std::make_unique<Drive>(good_run_, places);
        for (std::size_t r = 0; r < bad_runs_.size(); ++r) {
            for (std::size_t k = 0; k < signals_; ++k)
                places[k] = result_.signals[k].bad_series[r] == ContrastSignal::npos
                                ? -1
                                : static_cast<std::ptrdiff_t>(result_.signals[k].bad_series[r]);
            bad_.push_back(std::make_unique<Drive>(*bad_runs_[r], places));
        }
        // A signal helps, and is looked at, only where it is in every run.
        std::vector<char> available(signals_, 1);
        comparable_.assign(signals_, 1);
        for (std::size_t k = 0; k < signals_; ++k) {
            ContrastSignal& signal = result_.signals[k];
            const Series& series = good_->track(k).series();
            const bool there = std::all_of(bad_.begin(), bad_.end(), [&](const auto& drive) {
                return drive->track(k).present();
            });
            constexpr std::size_t least_good = 40;
            constexpr std::size_t least_bad = 10;
            if (!there)
                signal.standing = Standing::only_good;
            else if (series.kind == SeriesKind::choice)
                signal.standing = Standing::choice;
            else if (series.size() < least_good || signal.bad_samples < least_bad)
                signal.standing = Standing::too_few;
            else
                continue;
            available[k] = there && series.kind != SeriesKind::choice ? 1 : 0;
            comparable_[k] = 0;
        }
        const auto blocks_of = [](const Drive& drive) {
            return std::clamp<std::size_t>(static_cast<std::size_t>(drive.seconds() / 20), 4, 10);
        };
        good_->set_blocks(0, blocks_of(*good_));
        std::vector<const Drive*> others;
        for (auto& drive : bad_) {
            drive->set_blocks(good_->blocks(), blocks_of(*drive));
            others.push_back(drive.get());
        }
        survey_ = std::make_unique<Survey>(*good_, others, available);
        std::vector<char> free(signals_, 0);
        for (std::size_t k = 0; k < signals_; ++k)
            free[k] = good_->track(k).present() && set_freely(good_->track(k).series()) ? 1 : 0;
        // What other signals do, or another drive did, tells of what is in store nothing.
        const auto without_stores = [&](std::vector<char> which) {
            for (std::size_t k = 0; k < signals_; ++k)
                if (good_->track(k).present() && stored(good_->track(k).series()))
                    which[k] = 0;
            return which;
        };
        for (const auto& drive : bad_)
            alike_.push_back(
                std::make_unique<Alike>(*good_, *drive, *survey_, without_stores(comparable_)));
        ties_ = std::make_unique<Ties>(*good_, others, *survey_, without_stores(available), free);
        std::vector<float> sd(signals_, 0);
        for (std::size_t k = 0; k < signals_; ++k)
            if (survey_->range(k).usable && !survey_->range(k).slow && !survey_->range(k).counter)
                sd[k] = survey_->range(k).sd;
        good_->set_scales(sd);
        for (auto& drive : bad_)
            drive->set_scales(sd);
        allowances_ = std::make_unique<Allowances>(*good_, others, *survey_, comparable_);
        candidates_.resize(bad_runs_.size());
        own_courses_.resize(bad_runs_.size());
        slow_changes_.resize(bad_runs_.size());
        for (auto& of_run : slow_changes_)
            of_run.resize(signals_);
        for (auto& of_run : own_courses_)
            of_run.resize(signals_);
        for (auto& of_run : candidates_)
            of_run.resize(signals_);
    }

    /// A signal beside what others make expect; where it is as they say, beside those that no ECU
    /// makes of it.
    Candidate learn(std::size_t k, std::size_t run, const std::vector<char>& barred) {
        Candidate by_all = learn_by(k, run, barred);
        if (by_all.models.empty() || by_all.score() >= 1)
            return by_all;
        std::vector<char> apart = barred;
        for (std::size_t other = 0; other < signals_; ++other)
            if (other != k && good_->track(other).present() &&
                made_from(good_->track(other).series(), good_->track(k).series()) &&
                std::any_of(by_all.models.begin(), by_all.models.end(),
                            [&](const auto& model) { return model->uses(other); }))
                apart[other] = 1;
        if (apart == barred)
            return by_all;
        Candidate by_rest = learn_by(k, run, apart);
        // What lasts: of a moment fewer others tell too little.
        std::erase_if(by_rest.hits, [](const Hit& hit) { return momentary(hit.sign); });
        constexpr float less = 0.8F;
        for (Hit& hit : by_rest.hits)
            hit.score *= less;
        return by_rest.score() >= 1 ? std::move(by_rest) : std::move(by_all);
    }

    Candidate learn_by(std::size_t k, std::size_t run, const std::vector<char>& barred) {
        Candidate candidate;
        if (survey_->range(k).counter || !bad_[run]->track(k).present())
            return candidate;
        std::size_t helpers = 0;
        for (std::size_t other = 0; other < signals_; ++other)
            helpers += other != k && barred[other] == 0 && survey_->range(other).usable &&
                               !survey_->range(other).slow
                           ? 1
                           : 0;
        const std::size_t most = std::clamp<std::size_t>(helpers / 3, 2, 5);
        std::vector<char> used = barred;
        const bool set_by_ecu = calculated(good_->track(k).series());
        // What is asked seldom and changes fast says little between its samples.
        constexpr double seldom = 2.5;
        constexpr float fast = 0.15F;
        const Track& mine = good_->track(k);
        const bool store = stored(mine.series());
        for (std::size_t other = 0; other < signals_; ++other) {
            const Track& track = good_->track(other);
            const bool coarse = survey_->range(other).bends > fast && track.present() &&
                                track.interval() > seldom * mine.interval();
            // Nor does another field of the same sensor say anything, or what is in store.
            if (coarse || store ||
                (other != k && track.present() &&
                 (one_sensor(mine.series(), track.series()) || stored(track.series()))))
                used[other] = 1;
        }
        for (std::size_t m = 0; m < most_views; ++m) {
            auto model = std::make_unique<Model>(*survey_, *good_, *bad_[run], k, used, most,
                                                 set_freely(good_->track(k).series()));
            if (!model->usable() || (m > 0 && model->explained() < 0.5))
                break;
            for (const Model::Use& use : model->uses())
                used[use.signal] = 1;
            const bool alone = model->uses().empty();
            candidate.models.push_back(std::move(model));
            if (alone)
                break;
        }
        if (candidate.models.empty())
            return candidate;
        std::sort(candidate.models.begin(), candidate.models.end(),
                  [](const auto& a, const auto& b) { return a->explained() > b->explained(); });
        std::vector<Trace> traces; // of the good run
        for (const auto& model : candidate.models)
            traces.push_back(model->good_trace());
        const bool locked = candidate.models.front()->locked();
        const Series& series = good_->track(k).series();
        constexpr float least = 0.5F;
        constexpr double strict_untold = 1.25;
        constexpr double strict_told = 1.35;
        // The less the others tell of it, the more may be behind it that the good run did not show.
        const double doubtful = 1 + 3 * std::max(0.0, 0.92 - candidate.models.front()->explained());
        const double strict_set = commanded(series) ? 3.0 : set_by_ecu ? 1.4 : 1.0;
        const BurstScanner bursts(traces, series.step, strict_set * (switches(series) ? 1.6 : 1.0),
                                  locked);
        // Its edges count where the others tell its value, or nothing lets it leap, and no ECU sets
        // it. A trim may be set anew, but not to and fro so far.
        const bool slow = survey_->range(k).slow;
        const PeakScanner peaks(traces, series.step,
                                trims(series) && !locked ? 2.5
                                : set_by_ecu             ? 1.4
                                                         : 1.0,
                                {(locked || slow) && !set_by_ecu, slow, switches(series)});
        const auto look = [&](const auto& scanner) {
            std::vector<Trace> bad;
            for (const auto& model : candidate.models)
                bad.push_back(model->bad_trace());
            candidate.hits = scanner.scan(bad, least);
            // What is commanded may leap to and fro.
            if (!locked && (commanded(series) || misses_recirculation(series)))
                return;
            const std::vector<Hit> momentary = peaks.scan(bad, least);
            candidate.hits.insert(candidate.hits.end(), momentary.begin(), momentary.end());
            const std::vector<Hit> noise = bursts.scan(bad, least);
            candidate.hits.insert(candidate.hits.end(), noise.begin(), noise.end());
        };
        if (locked)
            look(ToldScanner(traces, series.step, strict_told * doubtful * strict_set,
                             set_by_ecu ? 1.2 : 1.0));
        else
            look(LooseScanner(traces, series,
                              strict_untold * (set_by_ecu          ? 1.6
                                               : regulated(series) ? 1.3
                                                                   : 1.0),
                              stillness(k)));
        const bool scatters = misses_recirculation(series) || commanded(series);
        if (!locked && leaps_at_will(series))
            std::erase_if(candidate.hits, [scatters](const Hit& hit) {
                // Only the trims were looked at for peaks.
                return (momentary(hit.sign) && hit.sign != Sign::peak) ||
                       (scatters && hit.sign == Sign::rough);
            });
        {
            for (Hit& hit : candidate.hits)
                allowances_->for_the_unfamiliar(k, candidate.models.front()->bad_trace(), hit);
            const std::vector<Hit>& own = own_course(k, run, candidate.models);
            candidate.hits.insert(candidate.hits.end(), own.begin(), own.end());
            for (Hit hit : alike_[run]->hits(k)) {
                constexpr float follows = 0.4F; // what the ECU makes of the others' values
                hit.score *= set_by_ecu ? follows : 1.0F;
                candidate.hits.push_back(hit);
            }
            for (Hit& hit : candidate.hits) {
                hit.score *= weight_of(hit.sign);
                allowances_->for_the_cold(run, bad_[run]->track(k), hit);
                if (!candidate.models.front()->uses().empty())
                    allowances_->for_company(k, *bad_[run], hit);
                allowances_->for_its_twin(k, *bad_[run], hit);
                if (set_by_ecu && !set_freely(series))
                    allowances_->for_rest(k, *bad_[run], candidate.models.front()->bad_trace(),
                                          hit);
            }
            constexpr std::size_t short_window = 8;
            if (switches(series))
                std::erase_if(candidate.hits, [&](const Hit& hit) {
                    // A few samples there and back roughen no more than a short window.
                    return (momentary(hit.sign) ||
                            (hit.sign == Sign::rough && hit.to - hit.from <= short_window)) &&
                           been_as_far(k, run, hit);
                });
            settle(candidate.hits);
        }
        for (const auto& model : candidate.models)
            model->forget(model == candidate.models.front());
        return candidate;
    }

    /// A good run in which a signal only went one way, a warm-up, does not show for how long it
    /// rests once it is there, nor how long what the ECU governs stays at an end (full load).
    LooseScanner::Still stillness(std::size_t k) const {
        constexpr std::size_t to_and_fro = 2;
        const Series& series = good_->track(k).series();
        return set_freely(series) ? LooseScanner::Still::nowhere
               : survey_->range(k).swings < to_and_fro || (governed(series) && !switches(series))
                   ? LooseScanner::Still::midway
                   : LooseScanner::Still::anywhere;
    }

    /// Whether the good run was as far from its middle as a moment went, more than once.
    bool been_as_far(std::size_t k, std::size_t run, const Hit& hit) const {
        constexpr std::size_t enough = 4; // samples
        constexpr float nearly = 0.01F;   // of its range
        const Track& good = good_->track(k);
        const Track& track = bad_[run]->track(k);
        const Range& range = survey_->range(k);
        const float middle = range.mean;
        float furthest = middle;
        for (std::size_t i = hit.from; i < hit.to; ++i)
            if (std::abs(track.value(i) - middle) > std::abs(furthest - middle))
                furthest = track.value(i);
        const float by = nearly * (range.high - range.low);
        std::size_t count = 0;
        for (std::size_t i = 0; i < good.size(); ++i)
            count += (furthest > middle ? good.value(i) >= furthest - by
                                        : good.value(i) <= furthest + by)
                         ? 1
                         : 0;
        return count >= enough;
    }

    /// Slow changes of a slow signal that no other slow one shares.
    void creep(std::size_t k, std::size_t run, std::vector<Hit>& hits) {
        constexpr float least = 0.5F;
        constexpr float alone = 1.4F; // that it moves is all that speaks for it
        const Track& track = bad_[run]->track(k);
        const auto& mine = slow_changes(k, run);
        for (const SlowScanner::Change& change : mine) {
            if (std::abs(change.score) < least)
                continue;
            bool shared = false;
            for (std::size_t other = 0; other < signals_ && !shared; ++other)
                if (other != k && comparable_[other])
                    for (const SlowScanner::Change& one : slow_changes(other, run))
                        shared = shared || (std::abs(one.time - change.time) <= change.width &&
                                            std::abs(one.score) >= 0.5F * std::abs(change.score));
            if (shared)
                continue;
            Hit hit;
            hit.sign = Sign::creep;
            hit.width = static_cast<std::uint8_t>(
                std::find(SlowScanner::widths.begin(), SlowScanner::widths.end(), change.width) -
                SlowScanner::widths.begin());
            hit.score = std::abs(change.score) / alone;
            hit.value = change.score;
            hit.from = track.first_from(change.time);
            hit.to = track.first_from(change.time + change.width);
            if (hit.to > hit.from)
                hits.push_back(hit);
        }
    }

    const std::vector<SlowScanner::Change>& slow_changes(std::size_t k, std::size_t run) {
        auto& known = slow_changes_[run][k];
        if (!known) {
            known.emplace();
            if (!survey_->range(k).counter && !set_freely(good_->track(k).series()))
                known = SlowScanner(good_->track(k), good_->track(k).series().step)
                            .look(bad_[run]->track(k), 0.25F);
        }
        return *known;
    }

    /// What any of the models expects about a sample.
    static void surround(Trace& own, std::size_t i,
                         const std::vector<std::unique_ptr<Model>>& models,
                         const Trace& (Model::*trace)() const) {
        own.low[i] = own.high[i] = missing;
        own.silence[i] = Silence::none;
        for (const auto& model : models) {
            const Trace& other = (model.get()->*trace)();
            own.silence[i] = std::max(own.silence[i], other.silence[i]);
            own.low[i] = std::fmin(own.low[i], other.low[i]); // passes over not-a-number
            own.high[i] = std::fmax(own.high[i], other.high[i]);
        }
    }

    /// A few samples beyond all that their three neighbours on either side and the models have, if
    /// by more than a step.
    struct Away {
        double by = 0;    ///< in the unit
        double ratio = 0; ///< to what the neighbours differ by
    };
    static Away away_at(const Trace& trace, std::size_t at, std::size_t width, double step,
                        bool told) {
        constexpr std::size_t shoulder = 3;
        Away out;
        if (at < shoulder || at + width + shoulder > trace.y.size() ||
            trace.piece[at - shoulder] != trace.piece[at + width + shoulder - 1] ||
            !leave_both_sides(at, width, step, [&](std::size_t i) { return double{trace.y[i]}; }))
            return out;
        Spread inside;
        Spread sides;
        for (std::size_t i = at - shoulder; i < at + width + shoulder; ++i)
            (i >= at && i < at + width ? inside : sides).add(double{trace.y[i]});
        const double spread = sides.high - sides.low + step;
        for (std::size_t i = at - 1; told && i <= at + width; ++i) {
            if (std::isnan(trace.low[i]))
                return out; // nobody knows what the others make of it
            sides.add(double{trace.low[i]});
            sides.add(double{trace.high[i]});
        }
        out.by = std::abs(inside.beyond(sides));
        out.ratio = out.by / spread;
        return out;
    }

    static void away(const Trace& good, const Trace& bad, const Series& series, double strict,
                     bool told, std::vector<Hit>& hits) {
        constexpr std::size_t widest = 4;
        constexpr double few_steps = 3.5;
        constexpr double share = 0.7;
        constexpr double limit = 3.5;
        constexpr float least = 0.5F;
        for (std::size_t width = 1; width <= widest; ++width) {
            double by = series.step;
            double ratio = 1;
            for (std::size_t i = 0; i < good.y.size(); ++i) {
                const Away one = away_at(good, i, width, series.step, told);
                by = std::max(by, one.by);
                ratio = std::max(ratio, one.ratio);
            }
            for (std::size_t i = 0; i < bad.y.size(); ++i) {
                const Away one = away_at(bad, i, width, series.step, told);
                if (one.by <= 0 || one.by < few_steps * series.step)
                    continue;
                const double score =
                    std::min(one.by / (share * (by + series.step)), one.ratio / ratio) /
                    (limit * strict);
                if (!(score >= double{least})) // nor not-a-number
                    continue;
                Hit hit;
                hit.sign = Sign::excursion;
                hit.width = static_cast<std::uint8_t>(width - 1);
                hit.from = i;
                hit.to = i + width;
                hit.score = static_cast<float>(score);
                hits.push_back(hit);
            }
        }
    }

    /// Of a signal that others tell.
    std::vector<Hit> leaps_and_roughness(std::size_t k, std::size_t run,
                                         const std::vector<std::unique_ptr<Model>>& models) const {
        const Model alone(*survey_, *good_, *bad_[run], k, std::vector<char>(signals_, 1), 0,
                          false);
        if (!alone.usable())
            return {};
        constexpr float least = 0.5F;
        const Series& series = good_->track(k).series();
        const double strict = calculated(series) ? 2.0 : switches(series) ? 1.6 : 1.15;
        std::vector<Trace> good{alone.good_trace()};
        std::vector<Trace> bad{alone.bad_trace()};
        for (std::size_t i = 0; i < good[0].t.size(); ++i)
            surround(good[0], i, models, &Model::good_trace);
        for (std::size_t i = 0; i < bad[0].t.size(); ++i)
            surround(bad[0], i, models, &Model::bad_trace);
        std::vector<Hit> hits = LooseScanner(good, series, strict, stillness(k)).scan(bad, least);
        // An excursion that the others may explain has to be larger, and what is told may rest
        // longer than the good run shows.
        for (Hit& hit : hits)
            hit.score *= hit.sign == Sign::excursion ? 0.68F
                         : hit.sign == Sign::frozen  ? 0.7F
                                                     : 1.05F;
        away(good[0], bad[0], series, strict / 1.15, true, hits);
        return hits;
    }

    /// An open or a short that comes and goes: from one sample to the next the value is at an end
    /// of what its scaling can tell, where the good run never was near, and a moment later it is
    /// back.
    void ends(std::size_t k, std::size_t run, const Model& model, std::vector<Hit>& hits) const {
        const Track& good = good_->track(k);
        const Track& track = bad_[run]->track(k);
        const Series& series = good.series();
        constexpr std::size_t least_good = 100;
        if (!series.has_ends || survey_->range(k).counter || good.size() < least_good ||
            misses_recirculation(series))
            return;
        float low = good.value(0);
        float high = low;
        float largest = 0;
        for (std::size_t i = 1; i < good.size(); ++i) {
            low = std::min(low, good.value(i));
            high = std::max(high, good.value(i));
            if (good.time(i) - good.time(i - 1) <= good.limit())
                largest = std::max(largest, std::abs(good.value(i) - good.value(i - 1)));
        }
        const auto step = static_cast<float>(series.step);
        const float margin = std::max(0.1F * (high - low), 10 * step);
        // What is commanded may be sent to an end at will, though seldom from one sample to the
        // next.
        const float far = commanded(series) ? 2.5F : 0.7F;
        const float jump = std::max(margin, far * largest);
        const float bottom = static_cast<float>(series.low) + 1.5F * step;
        const float top = static_cast<float>(series.high) - 1.5F * step;
        const auto gone = [&](std::size_t i) {
            const float v = track.value(i);
            return (v <= bottom && bottom < low - margin) || (v >= top && top > high + margin);
        };
        const auto follows = [&](std::size_t i) {
            return track.time(i) - track.time(i - 1) <= 1.75 * track.interval();
        };
        // After a gap nobody saw whether it leapt.
        const auto leaps = [&](std::size_t i) {
            return !follows(i) || std::abs(track.value(i) - track.value(i - 1)) >= jump;
        };
        const Trace& trace = model.bad_trace();
        constexpr double longest = 30;
        for (std::size_t from = 1; from < track.size(); ++from) {
            if (!gone(from) || gone(from - 1))
                continue;
            std::size_t to = from + 1;
            while (to < track.size() && gone(to))
                ++to;
            if (to == track.size() || track.time(to) - track.time(from) > longest || !leaps(from) ||
                !leaps(to) || !(follows(from) || follows(to)))
                continue;
            const float by = std::abs(track.value(from) - track.value(from - 1));
            // Where the others go there too, it is what happened.
            if (std::abs(trace.fitted[from] - track.value(from)) < 0.5F * by) // not-a-number is not
                continue;
            // An engine that is stopped and started stands still meanwhile.
            if (static_cast<std::ptrdiff_t>(k) == survey_->rpm) {
                constexpr float rolling = 5; // km/h
                const std::ptrdiff_t speed = survey_->speed;
                const float there = speed < 0 ? missing
                                              : bad_[run]->slowed(static_cast<std::size_t>(speed),
                                                                  Form::plain, track.time(from));
                if (!(there > rolling))
                    continue;
            }
            Hit hit;
            hit.sign = Sign::leap;
            hit.from = from - 1; // a leap begins with the sample before it
            hit.to = to;
            hit.value = track.value(from) - track.value(from - 1);
            hit.score = 1.5F * std::min(10.0F, by / jump);
            hits.push_back(hit);
        }
    }

    /// Calls see(from, to) for each stretch of samples whose values are so.
    template <class So, class See> static void each_stretch(const Track& track, So so, See see) {
        for (std::size_t from = 0; from < track.size(); ++from) {
            std::size_t to = from;
            while (to < track.size() && so(track.value(to)))
                ++to;
            if (to > from)
                see(from, to);
            from = std::max(from, to);
        }
    }

    /// What never is below where it rests, and rests there often, but is in the bad run.
    void below_its_stop(std::size_t k, std::size_t run, std::vector<Hit>& hits) const {
        constexpr double limit = 4;       // steps
        constexpr double most = 4;        // limits
        constexpr std::size_t often = 20; // one of so many samples
        const Track& good = good_->track(k);
        const Track& track = bad_[run]->track(k);
        const double step = good.series().step;
        float stop = good.value(0);
        for (std::size_t i = 1; i < good.size(); ++i)
            stop = std::min(stop, good.value(i));
        std::size_t rests = 0;
        for (std::size_t i = 0; i < good.size(); ++i)
            rests += double{good.value(i) - stop} <= 2.5 * step ? 1 : 0;
        if (rests * often < good.size() || step <= 0)
            return;
        const auto below = [&](float value) { return double{stop - value}; };
        each_stretch(
            track, [&](float value) { return below(value) > 1.5 * step; },
            [&](std::size_t from, std::size_t to) {
                double deepest = 0;
                for (std::size_t i = from; i < to; ++i)
                    deepest = std::max(deepest, below(track.value(i)));
                if (deepest < 0.5 * limit * step)
                    return;
                Hit hit;
                hit.sign = Sign::level; // whatever moved meanwhile
                hit.from = from;
                hit.to = to;
                hit.score = static_cast<float>(std::min(most, deepest / (limit * step)));
                hit.value = static_cast<float>(-deepest);
                hits.push_back(hit);
            });
    }

    /// An oxygen sensor's voltage that is nothing for a few samples, exactly, where the good run
    /// never was near nothing, be the mixture as lean as it liked.
    void shorted(std::size_t k, std::size_t run, std::vector<Hit>& hits) const {
        constexpr std::size_t enough = 400; // samples
        constexpr double near = 3.5;        // steps
        constexpr std::size_t fewest = 2;
        const Track& good = good_->track(k);
        const Track& track = bad_[run]->track(k);
        const Series& series = good.series();
        if (series.unit != Unit::volt || !series.has_ends || good.size() < enough)
            return;
        const Range& range = survey_->range(k);
        const float leap = 0.1F * (range.high - range.low);
        const auto nothing_read = static_cast<float>(series.low + 0.5 * series.step);
        for (std::size_t i = 0; i < good.size(); ++i)
            if (double{good.value(i)} < series.low + near * series.step)
                return;
        // From one sample to the next: lean mixture takes it there little by little.
        const auto leaps = [&](std::size_t i) {
            return i > 0 && i < track.size() &&
                   std::abs(track.value(i) - track.value(i - 1)) >= leap;
        };
        each_stretch(
            track, [&](float value) { return value < nothing_read; },
            [&](std::size_t from, std::size_t to) {
                if (to - from < fewest || !(leaps(from) || leaps(to)))
                    return;
                Hit hit;
                hit.sign = Sign::level;
                hit.from = from;
                hit.to = to;
                hit.score = to - from > fewest ? 2.5F : 1.8F;
                hits.push_back(hit);
            });
    }

    /// How a signal that others tell moves by itself: whatever they make expect, it leaps no
    /// further and is no rougher than in the good run.
    const std::vector<Hit>& own_course(std::size_t k, std::size_t run,
                                       const std::vector<std::unique_ptr<Model>>& models) {
        std::optional<std::vector<Hit>>& known = own_courses_[run][k];
        if (known)
            return *known;
        known.emplace();
        const bool free = leaps_at_will(good_->track(k).series());
        if (!free && !models.front()->uses().empty())
            known = leaps_and_roughness(k, run, models);
        else if (!free)
            away(models.front()->good_trace(), models.front()->bad_trace(),
                 good_->track(k).series(), switches(good_->track(k).series()) ? 1.6 : 1.15, false,
                 *known);
        if (!models.front()->locked() && !regulated(good_->track(k).series()))
            creep(k, run, *known);
        ends(k, run, *models.front(), *known);
        if (has_a_stop(good_->track(k).series()))
            below_its_stop(k, run, *known);
        if (switches(good_->track(k).series()))
            shorted(k, run, *known);
        return *known;
    }

    /// What is said of a signal in the list of all.
    void judge(std::size_t k) {
        ContrastSignal& signal = result_.signals[k];
        if (!comparable_[k] || bad_runs_.empty()) {
            if (!asked_for(signal))
                signal.standing = Standing::left_out;
            return;
        }
        for (std::size_t r = 0; r < bad_runs_.size(); ++r)
            signal.score = std::max(signal.score, candidates_[r][k].score());
        const Candidate& candidate = candidates_.front()[k];
        if (candidate.models.empty()) {
            signal.standing = Standing::constant;
        } else {
            const Model& model = *candidate.models.front();
            signal.standing = model.locked() ? Standing::compared : Standing::itself_only;
            signal.tolerance = 3 * model.usual();
            signal.explained = model.explained();
            constexpr std::size_t most_named = 5;
            for (std::size_t u = 0; u < model.uses().size() && u < most_named; ++u)
                signal.told_by.push_back(result_.signals[model.uses()[u].signal].name);
        }
        if (!asked_for(signal)) {
            signal.standing = Standing::left_out;
            return;
        }
        for (Coverage& coverage : result_.coverage)
            ++coverage.signals;
    }

    using Alarm = std::pair<double, std::size_t>; // score, signal

    /// The alarms that are left when signal `without` helps nobody.
    std::vector<Alarm> left_without(const std::vector<Alarm>& alarmed, std::size_t without,
                                    std::vector<char> barred, std::size_t run, double& sum) {
        barred[without] = 1;
        std::vector<Alarm> left;
        sum = 0;
        for (const auto& [score, k] : alarmed) {
            if (k == without)
                continue;
            double now = score;
            const auto& models = candidates_[run][k].models;
            if (std::any_of(models.begin(), models.end(),
                            [&](const auto& model) { return model->uses(without); }))
                now = learn(k, run, barred).score();
            if (now >= 1) {
                left.emplace_back(now, k);
                sum += std::log(now) + 0.5;
            }
        }
        return left;
    }

    /// The sensor that a worked-out value which went astray comes from, if it shows as astray
    /// itself once that value no longer vouches for it.
    std::optional<std::size_t> behind(std::size_t k, std::size_t run,
                                      const std::vector<char>& barred) {
        if (!calculated(good_->track(k).series()))
            return std::nullopt;
        const auto leans = [&](std::size_t a, std::size_t b) {
            const auto& models = candidates_[run][a].models;
            return std::any_of(models.begin(), models.end(), [&](const auto& model) {
                return !model->uses().empty() && model->uses().front().signal == b;
            });
        };
        std::optional<std::size_t> found;
        Candidate best;
        for (std::size_t other = 0; other < signals_; ++other) {
            if (other == k || barred[other] != 0 || !comparable_[other] ||
                candidates_[run][other].models.empty() ||
                calculated(good_->track(other).series()) || !leans(other, k) || !leans(k, other))
                continue;
            Candidate now = learn(other, run, barred);
            if (now.score() >= 1 && now.score() > best.score()) {
                best = std::move(now);
                found = other;
            }
        }
        if (found)
            candidates_[run][*found] = std::move(best);
        return found;
    }

    /// What left its close ties to others is a culprit whatever the models say of it.
    void untie(std::size_t run, std::vector<char>& barred) {
        constexpr int most_untied = 3;
        ties_->turn_to(run);
        std::vector<char> passed = barred;
        for (int round = 0; round < most_untied; ++round) {
            const std::vector<Ties::Broken> broken = ties_->look(passed);
            if (broken.empty())
                return;
            const std::size_t k = broken.front().signal;
            passed[k] = 1;
            Candidate& candidate = candidates_[run][k];
            if (candidate.models.empty() || !comparable_[k])
                continue;
            candidate.tied = ties_->trace(broken.front().tie);
            candidate.tied_to = ties_->partners(broken.front().tie);
            candidate.rival = broken.front().rival;
            const Trace& trace = *candidate.tied;
            for (const Ties::Broken& one : broken) {
                if (one.signal != k)
                    break;
                Hit hit;
                hit.sign = one.way == Ties::Way::rough  ? Sign::frayed
                           : one.way == Ties::Way::late ? Sign::trailing
                                                        : Sign::untied;
                // What the ECU works out it may work out otherwise for a while.
                constexpr float worked_out = 0.65F;
                constexpr float free = 0.4F;
                const Series& series = good_->track(k).series();
                hit.score = one.score * weight_of(hit.sign) *
                            (set_freely(series)   ? free
                             : calculated(series) ? worked_out
                                                  : 1.0F);
                const auto place = [&](double t) {
                    return static_cast<std::size_t>(
                        std::lower_bound(trace.t.begin(), trace.t.end(), t) - trace.t.begin());
                };
                hit.from = place(one.from);
                hit.to = place(one.to);
                if (hit.to > hit.from) {
                    allowances_->for_the_unfamiliar(k, trace, hit);
                    allowances_->for_the_cold(run, bad_[run]->track(k), hit);
                    if (calculated(series) && !set_freely(series))
                        allowances_->for_rest(k, *bad_[run], trace, hit);
                    candidate.hits.push_back(hit);
                }
            }
            settle(candidate.hits);
            if (candidate.score() < 1)
                continue;
            barred[k] = 1;
            for (const std::size_t made : ties_->made_of(k))
                passed[made] = barred[made] = 1; // astray with it
            if (asked_for(result_.signals[k]))
                report(k, run, candidate.score());
        }
    }

    /// When one signal goes astray, the predictions that lean on it do as well. The culprit is
    /// the one without which the others agree best; what is left after it is looked at in turn.
    void settle_on(std::size_t run) {
        std::vector<char> barred(signals_, 0);
        const std::size_t before = result_.suspects.size();
        untie(run, barred);
        const std::size_t untied = result_.suspects.size();
        std::vector<Alarm> alarmed;
        for (std::size_t k = 0; k < signals_; ++k) {
            if (barred[k] != 0 || candidates_[run][k].score() < 1)
                continue;
            const auto& models = candidates_[run][k].models;
            double score = candidates_[run][k].score();
            for (std::size_t other = 0; other < signals_; ++other)
                if (barred[other] != 0 && score >= 1 &&
                    std::any_of(models.begin(), models.end(),
                                [&](const auto& model) { return model->uses(other); })) {
                    score = learn(k, run, barred).score();
                    break;
                }
            if (score >= 1)
                alarmed.emplace_back(score, k);
        }
        std::sort(alarmed.rbegin(), alarmed.rend());
        if (alarmed.size() > most_alarmed)
            alarmed.resize(most_alarmed);
        constexpr int most_rounds = 5;
        for (int round = 0; round < most_rounds && !alarmed.empty(); ++round) {
            double best = std::numeric_limits<double>::infinity();
            std::size_t culprit = 0;
            std::vector<Alarm> rest;
            for (std::size_t a = 0; a < std::min<std::size_t>(alarmed.size(), 5); ++a) {
                double sum = 0;
                auto left = left_without(alarmed, alarmed[a].second, barred, run, sum);
                const double cost = sum - 0.7 * std::log(alarmed[a].first);
                const bool clear = left.empty() && a == 0;
                if (cost < best) {
                    best = cost;
                    culprit = a;
                    rest = std::move(left);
                }
                if (clear)
                    break;
            }
            const std::size_t k = alarmed[culprit].second;
            barred[k] = 1;
            const std::optional<std::size_t> source = behind(k, run, barred);
            if (source) {
                // What the ECU works out follows from what it reads.
                barred[*source] = 1;
                rest.erase(std::remove_if(rest.begin(), rest.end(),
                                          [&](const Alarm& a) { return a.second == *source; }),
                           rest.end());
                if (asked_for(result_.signals[*source]))
                    report(*source, run, candidates_[run][*source].score());
            }
            if (asked_for(result_.signals[k]))
                report(k, run, alarmed[culprit].first);
            std::sort(rest.rbegin(), rest.rend());
            alarmed = std::move(rest);
        }
        // Far stronger than what left its ties most, or standing still: first.
        constexpr double far_stronger = 2;
        const auto first = result_.suspects.begin() + static_cast<std::ptrdiff_t>(before);
        if (untied > before) {
            const auto strongest = std::max_element(
                first, result_.suspects.end(),
                [](const Departure& a, const Departure& b) { return a.score < b.score; });
            // What stands still breaks the ties of all that go by it.
            const bool stands = strongest->kind == DepartureKind::stuck;
            if (strongest->score > (stands ? 1 : far_stronger) * first->score)
                std::rotate(first, strongest, strongest + 1);
        }
        sources_first(before);
        if (alike_[run]->same())
            order_by_onset(run, before);
        // What never moved in the good run has no model: only strays from its own level count.
        for (std::size_t k = 0; k < signals_; ++k)
            if (comparable_[k] && candidates_[run][k].models.empty() &&
                asked_for(result_.signals[k]) && !survey_->range(k).usable)
                look_at_constant(k, run);
    }

    /// What an ECU makes of a sensor comes after it, where both are suspects.
    void sources_first(std::size_t first) {
        std::vector<Departure>& suspects = result_.suspects;
        const auto series = [&](std::size_t i) -> const Series& {
            return good_->track(suspects[i].signal).series();
        };
        for (std::size_t i = first; i < suspects.size(); ++i)
            for (std::size_t j = i + 1; j < suspects.size(); ++j)
                if (made_from(series(i), series(j))) {
                    const auto begin = suspects.begin();
                    std::rotate(begin + static_cast<std::ptrdiff_t>(i),
                                begin + static_cast<std::ptrdiff_t>(j),
                                begin + static_cast<std::ptrdiff_t>(j) + 1);
                }
    }

    /// In the same drive twice, what went elsewhere first is the likeliest cause of the rest; what
    /// is asked seldom may have done so a sample earlier, and what the ECU works out follows.
    void order_by_onset(std::size_t run, std::size_t first) {
        const auto place = [&](const Departure& departure) {
            const std::size_t k = departure.signal;
            const bool unlike = is_unlike(candidates_[run][k]);
            const int group = !unlike ? 2 : calculated(good_->track(k).series()) ? 1 : 0;
            return std::pair(group, departure.start_second - bad_[run]->track(k).interval());
        };
        std::stable_sort(
            result_.suspects.begin() + static_cast<std::ptrdiff_t>(first), result_.suspects.end(),
            [&](const Departure& a, const Departure& b) { return place(a) < place(b); });
    }

    /// Whether what is strangest about it is beside the same moment of the good drive.
    static bool is_unlike(const Candidate& candidate) {
        return !candidate.hits.empty() && candidate.hits.front().sign == Sign::unlike;
    }

    void report(std::size_t k, std::size_t run, double score) {
        const Run& bad = *bad_runs_[run];
        const Candidate& candidate = candidates_[run][k];
        const Trace& trace = candidate.models.front()->bad_trace();
        std::vector<Hit> hits;
        for (const Hit& hit : candidate.hits)
            if (hit.score >= 1)
                hits.push_back(hit);
        if (hits.empty())
            return;
        pair_leaps(hits);
        // The strongest first; what another of them covers already says nothing new.
        std::vector<Hit> kept;
        for (const Hit& hit : hits)
            if (std::none_of(kept.begin(), kept.end(), [&](const Hit& other) {
                    return hit.from < other.to && other.from < hit.to;
                }))
                kept.push_back(hit);
        std::optional<Trace> other_drive;
        if (alike_[run]->same())
            other_drive = alike_[run]->trace(k);
        const auto beside = [&](const Hit& hit) -> const Trace& {
            return hit.sign == Sign::unlike && other_drive  ? *other_drive
                   : about_ties(hit.sign) && candidate.tied ? *candidate.tied
                                                            : trace;
        };
        // Strange moments all over the drive are how it is driven, unless they are very strange, or
        // of a temperature, which no drive moves to and fro so fast.
        constexpr std::size_t many = 6;
        constexpr float very = 3;
        // What others tell comes back at once from no manoeuvre.
        constexpr float back_at_once = 2;
        constexpr std::size_t few = 4; // samples
        const bool peaks =
            candidate.models.front()->locked() &&
            std::all_of(kept.begin(), kept.end(), [&](const Hit& hit) {
                return hit.to - hit.from <= few || hit.score < 0.5F * kept.front().score;
            });
        if (kept.size() >= many && kept.front().score < (peaks ? back_at_once : very) &&
            good_->track(k).series().unit != Unit::celsius && !together(trace, kept) &&
            std::all_of(hits.begin(), hits.end(),
                        [](const Hit& hit) { return momentary(hit.sign); }))
            return;
        std::vector<Episode> episodes;
        episodes.reserve(kept.size());
        for (const Hit& hit : kept)
            episodes.push_back(episode(beside(hit), hit, bad, run));

        Departure departure;
        departure.signal = static_cast<std::uint32_t>(k);
        departure.run = static_cast<std::uint32_t>(run);
        departure.score = score;
        // What stands still is off in other ways as well.
        const Hit& strongest = kept.front();
        const bool still = std::any_of(hits.begin(), hits.end(), [&](const Hit& hit) {
            return hit.sign == Sign::frozen && hit.from < strongest.to && strongest.from < hit.to;
        });
        departure.kind = still ? DepartureKind::stuck
                               : kind_of(beside(strongest), strongest, good_->track(k).series());
        if (departure.kind == DepartureKind::lag)
            departure.late_by = late_by(beside(strongest), strongest.from, strongest.to);
        finish(departure, std::move(episodes), bad);
    }

    /// Whether all lie in a short part of the drive, so that something happened then.
    static bool together(const Trace& trace, const std::vector<Hit>& hits) {
        constexpr double longest = 200; // seconds
        constexpr double part = 3;      // one of so many, of the drive
        std::size_t from = trace.t.size();
        std::size_t to = 0;
        for (const Hit& hit : hits) {
            from = std::min(from, hit.from);
            to = std::max(to, hit.to - 1);
        }
        return trace.t[to] - trace.t[from] <=
               std::min(longest, (trace.t.back() - trace.t.front()) / part);
    }

    /// A leap away and the leap back are one departure.
    static void pair_leaps(std::vector<Hit>& hits) {
        std::vector<Hit> leaps;
        std::vector<Hit> rest;
        for (const Hit& hit : hits)
            (hit.sign == Sign::leap ? leaps : rest).push_back(hit);
        std::sort(leaps.begin(), leaps.end(),
                  [](const Hit& a, const Hit& b) { return a.from < b.from; });
        for (std::size_t i = 0; i < leaps.size(); ++i) {
            Hit hit = leaps[i];
            ++hit.from; // the sample before a leap is still as it should be
            const auto single = [](const Hit& leap) { return leap.to - leap.from <= 2; };
            if (i + 1 < leaps.size() && single(leaps[i]) && single(leaps[i + 1]) &&
                hit.value * leaps[i + 1].value < 0) {
                hit.to = leaps[i + 1].to - 1;
                hit.score = std::max(hit.score, leaps[i + 1].score);
                ++i;
            }
            hit.to = std::max(hit.to, hit.from + 1);
            rest.push_back(hit);
        }
        std::sort(rest.begin(), rest.end(),
                  [](const Hit& a, const Hit& b) { return a.score > b.score; });
        hits = std::move(rest);
    }

    /// Fills in what follows from the episodes, the strongest of which comes first, and keeps
    /// it.
    void finish(Departure& departure, std::vector<Episode> episodes, const Run& bad) {
        const Episode strongest = episodes.front();
        departure.peak_difference = strongest.peak_difference;
        departure.peak_time = strongest.peak_time;
        departure.peak_value = strongest.peak_value;
        departure.peak_expected = strongest.peak_expected;
        std::sort(episodes.begin(), episodes.end(),
                  [](const Episode& a, const Episode& b) { return a.start < b.start; });
        departure.start = episodes.front().start;
        departure.end = strongest.end;
        for (const Episode& episode : episodes)
            departure.end = std::max(departure.end, episode.end);
        departure.episode_count = static_cast<std::uint32_t>(episodes.size());
        if (episodes.size() > most_episodes)
            episodes.resize(most_episodes);
        departure.episodes = std::move(episodes);
        const Time reference = result_.coverage[departure.run].reference;
        const auto since = [&](Time time) {
            return (static_cast<double>(time) - static_cast<double>(reference)) / second_ns;
        };
        departure.start_second = since(departure.start);
        departure.end_second = since(departure.end);
        const ContrastSignal& signal = result_.signals[departure.signal];
        const Candidate& own = candidates_[departure.run][departure.signal];
        const bool told = (!own.models.empty() && own.models.front()->locked()) || left_ties(own);
        departure.sentence = sentence(signal, departure, result_.coverage[departure.run],
                                      is_unlike(own)            ? Beside::good_drive
                                      : told && !by_itself(own) ? Beside::others
                                                                : Beside::itself);
        departure.proof = proof(signal, departure.kind);
        departure.others = others(departure, strongest, bad);
        result_.suspects.push_back(std::move(departure));
    }

    /// Whether what is strangest about it is its own course from one sample to the next.
    static bool by_itself(const Candidate& candidate) {
        return !candidate.hits.empty() && (candidate.hits.front().sign == Sign::peak ||
                                           candidate.hits.front().sign == Sign::leap);
    }

    /// Whether what is strangest about it is beside its ties.
    static bool left_ties(const Candidate& candidate) {
        return !candidate.hits.empty() && about_ties(candidate.hits.front().sign);
    }

    static Episode episode(const Trace& trace, const Hit& hit, const Run& bad, std::size_t run) {
        Episode out;
        out.run = static_cast<std::uint32_t>(run);
        out.score = hit.score;
        // What it was just before and after.
        const float before = trace.y[hit.from > 0 ? hit.from - 1 : hit.from];
        const float after = trace.y[hit.to < trace.y.size() ? hit.to : hit.to - 1];
        const bool changes = hit.sign == Sign::leap || hit.sign == Sign::creep;
        std::size_t peak = hit.from;
        float size = -1;
        for (std::size_t i = hit.from; i < hit.to; ++i) {
            const float here = std::abs(changes ? trace.y[i] - before : trace.z[i]);
            if (here > size) { // not-a-number is never greater
                size = here;
                peak = i;
            }
        }
        std::size_t from = hit.from;
        std::size_t to = hit.to - 1;
        // A window is wider than what it holds: cut to where the difference is a good part of
        // its peak, for the signs that are about differences.
        if (hit.sign != Sign::rough && hit.sign != Sign::size && hit.sign != Sign::late &&
            hit.sign != Sign::frozen && hit.sign != Sign::leap && hit.sign != Sign::creep &&
            hit.sign != Sign::frayed && hit.sign != Sign::trailing) {
            const float least = 0.4F * size;
            while (from < peak && !(std::abs(trace.z[from]) >= least))
                ++from;
            while (to > peak && !(std::abs(trace.z[to]) >= least))
                --to;
        }
        // Seconds tell a run of centuries to a few hundred nanoseconds only.
        const auto within = [&](double t) {
            return std::clamp(from_seconds(bad, t), bad.start, bad.end);
        };
        out.start = within(trace.t[from]);
        out.end = within(trace.t[to]);
        out.peak_time = within(trace.t[peak]);
        out.peak_value = trace.y[peak];
        out.peak_expected = changes ? before
                            : hit.sign == Sign::peak || std::isnan(trace.fitted[peak])
                                ? 0.5F * (before + after)
                                : trace.fitted[peak];
        out.peak_difference = out.peak_value - out.peak_expected;
        return out;
    }

    static DepartureKind kind_of(const Trace& trace, const Hit& hit, const Series& series) {
        std::vector<double> time;
        std::vector<double> fitted;
        std::vector<double> value;
        std::vector<double> difference;
        std::size_t at_end = 0;
        std::size_t far = 0;
        float peak = 0;
        for (std::size_t i = hit.from; i < hit.to; ++i)
            if (!std::isnan(trace.z[i]))
                peak = std::max(peak, std::abs(trace.z[i]));
        for (std::size_t i = hit.from; i < hit.to; ++i) {
            if (std::isnan(trace.z[i]))
                continue;
            time.push_back(trace.t[i]);
            fitted.push_back(trace.fitted[i]);
            value.push_back(trace.y[i]);
            difference.push_back(trace.y[i] - trace.fitted[i]);
            if (std::abs(trace.z[i]) < 0.5F * peak)
                continue;
            ++far;
            const double v = trace.y[i];
            at_end += series.has_ends && (v <= series.low + 1.5 * series.step ||
                                          v >= series.high - 1.5 * series.step)
                          ? 1
                          : 0;
        }
        if (far > 0 && at_end * 2 > far)
            return DepartureKind::end_of_range;
        switch (hit.sign) {
        case Sign::apart:
        case Sign::excursion:
        case Sign::peak:
            if (hit.to - hit.from > 6)
                break;
            return far <= 1 ? DepartureKind::spike : DepartureKind::drop_out;
        case Sign::leap:
            return hit.to - hit.from <= 1   ? DepartureKind::spike
                   : hit.to - hit.from <= 8 ? DepartureKind::drop_out
                                            : DepartureKind::offset;
        case Sign::rough:
        case Sign::frayed:
            return DepartureKind::noise;
        case Sign::late:
        case Sign::trailing:
            return DepartureKind::lag;
        case Sign::frozen:
            return DepartureKind::stuck;
        case Sign::size:
            return DepartureKind::other;
        default:
            break;
        }
        constexpr std::size_t few = 6;
        if (difference.size() < few)
            return far <= 1 ? DepartureKind::spike : DepartureKind::drop_out;
        const auto distinct = [](std::vector<double> values) {
            std::sort(values.begin(), values.end());
            return values.back() - values.front();
        };
        if (distinct(value) <= series.step && distinct(fitted) > 8 * series.step)
            return DepartureKind::stuck;
        // Whether the difference goes with time, with the size of the value, or with neither.
        const double whole = median_deviation(difference);
        const auto left = [&](const std::vector<double>& x) {
            const Line line = theil_sen(x, difference);
            std::vector<double> rest(difference.size());
            for (std::size_t i = 0; i < rest.size(); ++i)
                rest[i] = difference[i] - line.intercept - line.slope * x[i];
            return whole > 0 ? median_deviation(rest) / whole : 1.0;
        };
        const double by_time = left(time);
        const double by_size = left(fitted);
        constexpr double clearly = 0.6;
        if (by_time < clearly && by_time <= by_size)
            return DepartureKind::drift;
        if (by_size < clearly)
            return DepartureKind::scale;
        return DepartureKind::offset;
    }

    void look_at_constant(std::size_t k, std::size_t run) {
        const Track& track = bad_[run]->track(k);
        const Series& series = track.series();
        if (series.size() < 20 || leaps_at_will(good_->track(k).series()))
            return;
        std::vector<double> values(series.size());
        for (std::size_t i = 0; i < values.size(); ++i)
            values[i] = series.values[i];
        // What it leaves for good counts as well, where it began as in the good run.
        const std::size_t begun = values.size() / 8 + 1;
        const double first = median(std::span(values).first(begun));
        const Track& taught = good_->track(k);
        const double before = taught.size() > 0 ? double{taught.value(taught.size() / 2)} : first;
        double level = median(values);
        const double span = series.has_ends ? series.high - series.low : 0;
        double limit = std::max({5 * series.step, 0.02 * span, 1e-9});
        const bool for_good = std::abs(level - first) > limit && std::abs(first - before) <= limit;
        if (for_good) {
            level = first;
            limit *= 2;
        }
        std::size_t strays = 0;
        std::size_t peak = 0;
        std::vector<Episode> episodes;
        // Whether it went astray and came back from one sample to the next.
        bool leapt = std::abs(values.front() - level) <= limit;
        for (std::size_t i = 0; i < values.size(); ++i) {
            const double size = std::abs(values[i] - level);
            const bool strays_before = i > 0 && std::abs(values[i - 1] - level) > limit;
            if (i > 0 && strays_before != (size > limit))
                leapt = leapt && std::abs(values[i] - values[i - 1]) > 0.5 * limit;
            if (size <= limit)
                continue;
            ++strays;
            if (std::abs(values[peak] - level) < size)
                peak = i;
            if (!episodes.empty() && i > 0 && episodes.back().end == series.times[i - 1]) {
                episodes.back().end = series.times[i];
            } else {
                Episode fresh;
                fresh.run = static_cast<std::uint32_t>(run);
                fresh.start = fresh.end = series.times[i];
                fresh.peak_expected = level;
                episodes.push_back(fresh);
            }
            Episode& open = episodes.back();
            if (std::abs(open.peak_difference) < size) {
                open.peak_difference = values[i] - level;
                open.peak_value = values[i];
                open.peak_time = series.times[i];
                open.score = std::min(size / limit, double{most_score});
            }
        }
        // Another level is another day, not a stray; but not where it leapt there from that of the
        // good run, and back.
        leapt = leapt && std::abs(level - before) <= limit && !calculated(series);
        if (strays == 0 || (!for_good && !leapt && strays * 10 > values.size()))
            return;
        std::stable_sort(episodes.begin(), episodes.end(),
                         [](const Episode& a, const Episode& b) { return a.score > b.score; });
        Departure departure;
        departure.signal = static_cast<std::uint32_t>(k);
        departure.run = static_cast<std::uint32_t>(run);
        departure.score = episodes.front().score;
        const bool at_end = series.has_ends && (values[peak] <= series.low + 1.5 * series.step ||
                                                values[peak] >= series.high - 1.5 * series.step);
        constexpr Time long_enough = 10 * nanoseconds_a_second;
        departure.kind = at_end        ? DepartureKind::end_of_range
                         : strays == 1 ? DepartureKind::spike
                         : for_good || episodes.front().end - episodes.front().start >= long_enough
                             ? DepartureKind::offset
                             : DepartureKind::drop_out;
        result_.signals[k].score = std::max(result_.signals[k].score, departure.score);
        finish(departure, std::move(episodes), *bad_runs_[run]);
    }

    /// What the signals that tell this one did about its strongest episode, and how many others
    /// kept their course.
    std::string others(const Departure& departure, const Episode& strongest, const Run& bad) {
        std::vector<OtherCourse> courses;
        const Candidate& own = candidates_[departure.run][departure.signal];
        std::vector<std::size_t> tellers;
        std::string rival;
        if (left_ties(own)) {
            tellers = own.tied_to;
            if (own.rival != Ties::nobody)
                rival = result_.signals[own.rival].name;
        } else if (!own.models.empty()) {
            for (const Model::Use& use : own.models.front()->uses())
                tellers.push_back(use.signal);
        }
        for (const std::size_t teller : tellers) {
            const ContrastSignal& other = result_.signals[teller];
            const std::size_t place = other.bad_series[departure.run];
            if (place == ContrastSignal::npos || courses.size() == 3)
                continue;
            const Series& series = bad.series[place];
            constexpr Time widest = std::numeric_limits<Time>::max() / 2;
            const Time margin = 2 * std::clamp<Time>(pace(series).interval, 0, widest);
            const Time from = shifted(strongest.start, -margin);
            const Time to = shifted(strongest.end, margin);
            OtherCourse course;
            course.name = other.name;
            course.unit = other.unit;
            course.own_unit = other.own_unit;
            course.decimals = other.decimals;
            for (std::size_t i = 0; i < series.size(); ++i) {
                if (series.times[i] < from || series.times[i] > to)
                    continue;
                const double value = series.values[i];
                course.low = course.any ? std::min(course.low, value) : value;
                course.high = course.any ? std::max(course.high, value) : value;
                course.any = true;
            }
            if (course.any)
                courses.push_back(std::move(course));
        }
        std::size_t compared = 0;
        std::size_t quiet = 0;
        for (std::size_t k = 0; k < signals_; ++k) {
            const Candidate& candidate = candidates_[departure.run][k];
            if (k == departure.signal || candidate.models.empty())
                continue;
            ++compared;
            quiet += candidate.score() < 1 ? 1 : 0;
        }
        std::string out = meanwhile(courses, compared, quiet);
        if (!rival.empty())
            out.append(out.empty() ? "" : " ")
                .append(either(result_.signals[departure.signal].name, rival));
        return out;
    }

    /// Over all runs: the culprits in the order in which they were told apart; those that began
    /// after another that may have caused them say so.
    void rank() {
        auto& suspects = result_.suspects;
        // A signal found in several runs is one suspect: that of the run in which it is
        // strongest.
        std::vector<Departure> merged;
        for (Departure& departure : suspects) {
            const auto same = std::find_if(merged.begin(), merged.end(), [&](const Departure& d) {
                return d.signal == departure.signal;
            });
            if (same == merged.end()) {
                merged.push_back(std::move(departure));
                continue;
            }
            if (departure.score > same->score)
                std::swap(departure, *same);
            same->episode_count += departure.episode_count;
            for (Episode& episode : departure.episodes)
                if (same->episodes.size() < most_episodes)
                    same->episodes.push_back(episode);
            std::stable_sort(same->episodes.begin(), same->episodes.end(),
                             [](const Episode& a, const Episode& b) {
                                 return a.run != b.run ? a.run < b.run : a.start < b.start;
                             });
        }
        suspects = std::move(merged);
        constexpr Time soon = 30 * nanoseconds_a_second;
        for (std::size_t i = 1; i < suspects.size(); ++i)
            for (std::size_t j = 0; j < i; ++j)
                if (suspects[j].run == suspects[i].run &&
                    suspects[j].start <= suspects[i].start + nanoseconds_a_second &&
                    suspects[i].start <= suspects[j].end + soon) {
                    suspects[i].after = static_cast<std::uint32_t>(j);
                    break;
                }
    }

    void note() {
        for (std::size_t r = 0; r < bad_runs_.size(); ++r) {
            Coverage& coverage = result_.coverage[r];
            double sum = 0;
            std::size_t count = 0;
            for (std::size_t k = 0; k < signals_; ++k)
                if (!candidates_[r][k].models.empty() &&
                    candidates_[r][k].models.front()->locked()) {
                    sum += candidates_[r][k].models.front()->bad_trace().familiar;
                    ++count;
                }
            coverage.familiar = count > 0 ? sum / static_cast<double>(count) : 0;
        }
        result_.notes = notes(result_, bad_runs_.size());
        for (std::size_t r = 0; r < bad_runs_.size(); ++r) {
            constexpr double worth_a_word = 10;
            const double seconds = allowances_ ? allowances_->cold_until(r) : 0;
            if (seconds >= worth_a_word)
                result_.notes.push_back(
                    (bad_runs_.size() > 1 ? result_.coverage[r].name + ": " : "") +
                    colder(seconds));
        }
        if (std::any_of(alike_.begin(), alike_.end(), [](const auto& one) { return one->same(); }))
            result_.notes.emplace_back(
                "The drives go alike second by second: each signal was also held against the same "
                "moment of the good drive.");
    }

    void keep_expectations() {
        for (const Departure& departure : result_.suspects)
            for (std::size_t r = 0; r < bad_runs_.size(); ++r) {
                const auto& models = candidates_[r][departure.signal].models;
                if (models.empty() || !bad_[r]->track(departure.signal).present())
                    continue;
                const Trace& trace = models.front()->bad_trace();
                Expectation expectation;
                expectation.signal = departure.signal;
                expectation.run = static_cast<std::uint32_t>(r);
                expectation.expected = trace.fitted;
                expectation.tolerance = trace.sigma;
                for (float& width : expectation.tolerance)
                    width *= 3;
                for (const double t : trace.t)
                    expectation.times.push_back(from_seconds(*bad_runs_[r], t));
                result_.expectations.push_back(std::move(expectation));
            }
    }

    const Run& good_run_;
    std::vector<const Run*> bad_runs_;
    const ContrastOptions& options_;
    ContrastResult result_;
    std::size_t signals_ = 0; ///< those of the good run, which stand first in `result_.signals`
    std::vector<char> comparable_;
    std::unique_ptr<Drive> good_;
    std::vector<std::unique_ptr<Drive>> bad_;
    std::unique_ptr<Survey> survey_;
    std::unique_ptr<Ties> ties_;
    std::vector<std::unique_ptr<Alike>> alike_; ///< of each bad run
    std::unique_ptr<Allowances> allowances_;
    std::vector<std::vector<Candidate>> candidates_; ///< of each bad run, of each signal
    std::vector<std::vector<std::optional<std::vector<Hit>>>> own_courses_;
    std::vector<std::vector<std::optional<std::vector<SlowScanner::Change>>>> slow_changes_;
};

/// The part of a run between two moments, with its marks.
Run part_of(const Run& run, Time from, Time to) {
    Run out;
    out.name = run.name;
    for (const Series& series : run.series) {
        Series part = series;
        part.times.clear();
        part.values = Values(series.decimals);
        for (std::size_t i = 0; i < series.size(); ++i)
            if (series.times[i] >= from && series.times[i] < to)
                part.add(series.times[i], series.values[i]);
        out.series.push_back(std::move(part));
    }
    for (const Mark& mark : run.marks)
        if (mark.time >= from && mark.time < to)
            out.marks.push_back(mark);
    out.settle();
    return out;
}

} // namespace

ContrastResult contrast(const Run& good, std::span<const Run* const> bad,
                        const ContrastOptions& options) {
    return Comparison(good, bad, options).go();
}

ContrastResult contrast_alone(const Run& run, const ContrastOptions& options) {
    // Each half is held against what the other teaches. What only one half shows is less
    // certain than a second drive would make it, so it takes more.
    constexpr double least_score = 1.5;
    const Time middle = run.start == no_time ? 0 : run.start / 2 + run.end / 2;
    const Run first = part_of(run, std::numeric_limits<Time>::min() + 1, middle);
    const Run rest = part_of(run, middle, std::numeric_limits<Time>::max());
    const Run* whole[] = {&run};
    ContrastResult result;
    const auto look = [&](const Run& teacher) {
        ContrastResult found = contrast(teacher, whole, options);
        const bool taught_by_first = &teacher == &first;
        std::vector<Departure> kept;
        for (Departure& departure : found.suspects) {
            const bool elsewhere =
                taught_by_first ? departure.start >= middle : departure.end < middle;
            if (elsewhere && departure.score >= least_score)
                kept.push_back(std::move(departure));
        }
        for (Departure& departure : kept)
            departure.after.reset();
        if (result.signals.empty()) {
            found.suspects = std::move(kept);
            result = std::move(found);
            return;
        }
        // Both halves have the same series in the same order, and so the same signals.
        for (Departure& departure : kept) {
            const bool known =
                std::any_of(result.suspects.begin(), result.suspects.end(),
                            [&](const Departure& d) { return d.signal == departure.signal; });
            if (!known) {
                result.suspects.push_back(std::move(departure));
                for (Expectation& expectation : found.expectations)
                    if (expectation.signal == result.suspects.back().signal)
                        result.expectations.push_back(std::move(expectation));
            }
        }
        for (std::size_t k = 0; k < result.signals.size(); ++k)
            result.signals[k].score = std::max(result.signals[k].score, found.signals[k].score);
    };
    look(first);
    look(rest);
    std::stable_sort(result.suspects.begin(), result.suspects.end(),
                     [](const Departure& a, const Departure& b) { return a.score > b.score; });
    result.notes.insert(result.notes.begin(),
                        "One drive alone: each half was held against the other. A second drive, "
                        "without the fault, shows more and makes it more certain.");
    return result;
}

} // namespace telltale::run

// SPDX-License-Identifier: Apache-2.0
#include "telltale/vet/kline.hpp"

#include <algorithm>

#include "base/chance.hpp"
#include "clock.hpp"
#include "render.hpp"
#include "telltale/base/hex.hpp"

namespace telltale::vet {

namespace {

constexpr Time byte_time = KlineCutter::byte_time;
// Initialisation at 5 baud (ISO 9141-2, ISO 14230-4): from the address to 55 (W1), to the key bytes
// (W2, W3), to the second one inverted (W4), to the inverted address (W4).
constexpr Time address_time = 2000 * ms;
constexpr Time w1 = 100 * ms;
constexpr Time w2 = 10 * ms;
constexpr Time w3 = 10 * ms;
constexpr Time w4_min = 25 * ms;
constexpr Time w4_max = 50 * ms;
constexpr std::array<std::uint8_t, 2> keys{0xE9, 0x8F}; // ISO 14230-4: 2025
constexpr std::uint8_t inverted_address = 0xCC;         // of 33
// Pauses in a request (P4: 5 to 20 ms), before it (P3: at least 55 ms), before an answer (P2: 25 to
// 50 ms), in an answer (P1: at most 20 ms).
constexpr Time p4_min = 5 * ms;
constexpr Time p4_max = 20 * ms;
constexpr Time p3_min = 55 * ms;
constexpr Time p2_usual = 30 * ms;
constexpr Time p2_late = 47 * ms;
constexpr Time p1_slow = 18 * ms;
constexpr Time answer_patience = 600 * ms;
constexpr Time listening = 400 * ms;

std::string shown(Bytes bytes) {
    constexpr std::size_t most = 12;
    std::string out = to_hex(bytes.first(std::min(most, bytes.size())), ' ');
    if (bytes.size() > most) {
        out += " ... ";
        append_integer(out, std::uint64_t{bytes.size()});
        out += " bytes";
    }
    return out;
}

bool same(Bytes a, Bytes b) {
    return std::equal(a.begin(), a.end(), b.begin(), b.end());
}

} // namespace

void KlineVetting::Count::fault(Time since, std::string sent, std::string came, std::string what) {
    ++wrong;
    if (examples.size() < Check::most_examples)
        examples.push_back({since, std::move(sent), std::move(came), std::move(what)});
}

KlineVetting::KlineVetting(const KlineOptions& options, Time now)
    : options_(options), begun_(now), next_(now), chance_(options.seed) {
    if (!options_.wakes)
        wakings_ = {KlineWaking::none};
    else if (options_.only)
        wakings_ = {*options_.only};
    else
        wakings_ = {KlineWaking::five_baud, KlineWaking::fast};
    awake_ = !options_.wakes;
    deadline_ = now + listening;
    plan();
}

/// For what is to come after the answer is over. Where times say nothing, the computer may stall.
Time KlineVetting::patience() const {
    return options_.exact || plan_[at_].kind == Kind::harmed ? answer_patience
                                                             : 4 * answer_patience;
}

double KlineVetting::part(Time now) const noexcept {
    return std::min(1.0, static_cast<double>(now - begun_) /
                             static_cast<double>(std::max<Time>(options_.duration, 1)));
}

void KlineVetting::plan() {
    constexpr std::array<std::size_t, 14> lengths{1, 2, 3, 4, 5, 6, 7, 8, 16, 32, 63, 64, 128, 255};
    plan_.clear();
    for (std::size_t i = 0; i < lengths.size(); ++i) {
        // All of them once; after another initialisation a few will do.
        if (whole_ && lengths[i] > 8)
            break;
        plan_.push_back({Kind::usual, lengths[i], lengths[lengths.size() - 1 - i]});
        if (lengths[i] > 8)
            continue;
        plan_.push_back({i % 2 == 0 ? Kind::slow : Kind::late, 2, lengths[i]});
        plan_.push_back({Kind::harmed, 3, lengths[i]});
    }
    at_ = 0;
}

/// All lengths have been there: short ones, one after the other, are most of what is said on a
/// line.
void KlineVetting::plan_more() {
    constexpr std::array<Kind, 8> kinds{Kind::usual, Kind::usual,  Kind::harmed, Kind::usual,
                                        Kind::slow,  Kind::harmed, Kind::usual,  Kind::late};
    plan_.clear();
    Chance chance(chance_);
    for (const Kind kind : kinds)
        plan_.push_back({kind, 1 + chance.below(chance.below(8) == 0 ? 32 : 7),
                         1 + chance.below(chance.below(4) == 0 ? 64 : 12)});
    chance_ = chance.next();
    at_ = 0;
}

/// A frame with addresses and so many data bytes, none of which is a service of any ECU (ISO
/// 14230-2: with more than 63 the length has a byte of its own).
std::vector<std::uint8_t> KlineVetting::make(std::size_t data, bool answer) {
    Chance chance(chance_);
    std::vector<std::uint8_t> frame;
    const bool in_format = data <= 63;
    frame.push_back(static_cast<std::uint8_t>(0x80U | (in_format ? data : 0U)));
    frame.push_back(answer ? 0xF1 : 0x10);
    frame.push_back(answer ? 0x10 : 0xF1);
    if (!in_format)
        frame.push_back(static_cast<std::uint8_t>(data));
    frame.push_back(answer ? 0xFA : 0xBA);
    for (std::size_t i = 1; i < data; ++i)
        frame.push_back(chance.byte());
    chance_ = chance.next();
    frame.push_back(kline_checksum(frame));
    return frame;
}

void KlineVetting::poll(Time now, KlineVetOutlet& outlet) {
    while (!due_.empty() && due_.front().at <= now) {
        outlet.put(due_.front().byte);
        free_ = now + byte_time;
        if (key_end_ == no_time && !awake_ && due_.size() == 1)
            key_end_ = now + byte_time; // the second key byte is out
        due_.pop_front();
    }
    begin(outlet, now);
    next_ = step_ == Step::over ? no_time : deadline_;
    if (!due_.empty())
        next_ = next_ == no_time ? due_.front().at : std::min(next_, due_.front().at);
}

void KlineVetting::begin(KlineVetOutlet& outlet, Time now) {
    switch (step_) {
    case Step::listen:
        if (now < deadline_)
            return;
        step_ = Step::open;
        [[fallthrough]];
    case Step::open:
        step_ = Step::opening;
        deadline_ = now + 15'000 * ms;
        awake_ = !options_.wakes;
        lows_ = 0;
        low_ = key_end_ = no_time;
        key_back_ = false;
        w4_ = no_time;
        due_.clear();
        outlet.open(wakings_[waking_]);
        return;
    case Step::opening:
        if (now >= deadline_)
            opened(false, now);
        return;
    case Step::ask: {
        if (now < deadline_)
            return;
        if (at_ >= plan_.size()) {
            whole_ = true;
            if (waking_ + 1 < wakings_.size()) {
                ++waking_;
                plan();
                step_ = Step::open;
                deadline_ = now;
                return begin(outlet, now);
            }
            plan_more();
        }
        const bool left = now - begun_ < options_.duration;
        if (whole_ && waking_ + 1 >= wakings_.size() && !left) {
            step_ = Step::over;
            return;
        }
        const Exchange& exchange = plan_[at_];
        request_ = make(exchange.request, false);
        answer_ = make(exchange.answer, true);
        if (exchange.kind == Kind::harmed) // a bit of the data or of the checksum
            answer_[answer_.size() - 1 - (chance_ >> 8) % 2] ^=
                static_cast<std::uint8_t>(1U << chance_ % 8);
        pieces_.clear();
        request_came_ = answer_came_ = gave_up_ = false;
        step_ = Step::sending;
        deadline_ = now + 10'000 * ms;
        outlet.send(request_);
        return;
    }
    case Step::sending:
    case Step::waiting:
        if (now >= deadline_)
            end_exchange(now);
        return;
    case Step::over:
        return;
    }
}

void KlineVetting::opened(bool fine, Time now) {
    if (step_ != Step::opening)
        return;
    const auto which = static_cast<std::size_t>(wakings_[waking_]);
    Count& count = waking_counts_[which];
    ++count.all;
    std::string& trouble = waking_trouble_[which];
    if (!fine)
        trouble = "the adapter did not wake the line";
    else if (!awake_)
        trouble = "the adapter says that the line is awake, and it is not";
    else if (w4_ != no_time && options_.exact &&
             (w4_ < w4_min - options_.slack || w4_ > w4_max + options_.slack))
        trouble = "the inverted key byte comes after " + render::short_time(w4_) +
                  ", not 25 to 50 ms (W4)";
    if (!trouble.empty())
        count.fault(since(now), "", "", trouble);
    deadline_ = now;
    if (fine && awake_) {
        step_ = Step::ask;
    } else if (++waking_ < wakings_.size()) {
        plan();
        step_ = Step::open;
    } else {
        step_ = Step::over;
    }
    next_ = now;
}

void KlineVetting::sent(bool fine, Time now, KlineEcho echo) {
    if (step_ != Step::sending)
        return;
    if (echo == KlineEcho::none) {
        ++mute_;
    } else if (echo != KlineEcho::unknown) {
        ++own_.all;
        if (echo == KlineEcho::wrong) {
            own_.fault(since(now), shown(request_), "",
                       "the adapter did not hear it come back as it was");
            gave_up_ = !fine;
        }
    }
    step_ = Step::waiting;
    deadline_ = now + (fine || gave_up_ ? patience() : Time{0});
    for (const Due& due : due_)
        deadline_ = std::max(deadline_, due.at + patience());
    next_ = std::min(next_ == no_time ? deadline_ : next_, deadline_);
}

void KlineVetting::gone(End end, Time) {
    if (step_ == Step::over)
        return;
    gone_ = end;
    step_ = Step::over;
}

void KlineVetting::received(Bytes frame, Time now) {
    if (step_ != Step::sending && step_ != Step::waiting)
        return;
    if (same(frame, request_)) {
        echo_.fault(since(now), "", shown(frame), "its own frame comes back");
        return;
    }
    const Kind kind = plan_[at_].kind;
    KlineFrame parsed;
    const bool fine = parse_kline(frame, parsed).fine();
    const bool keep_alive = fine && parsed.data.size() == 6 && parsed.data[0] == 0x41;
    if (keep_alive)
        return;
    // A pause that nobody wanted may have cut it: where times say nothing, pieces will do.
    std::vector<std::uint8_t> so_far = pieces_;
    so_far.insert(so_far.end(), frame.begin(), frame.end());
    if (kind == Kind::harmed) {
        // With its wrong checksum it is told for what it is; set right, it is taken for good.
        const Bytes whole = fine ? frame : Bytes(so_far);
        if (fine || parse_kline(whole, parsed).fine())
            harmed_.fault(since(now), shown(answer_), shown(whole), "a wrong checksum let through");
        else if (!options_.exact && so_far.size() < answer_.size())
            pieces_ = so_far;
        if (same(frame, answer_) || same(whole, answer_)) {
            deadline_ = now + 60 * ms;
            next_ = std::min(next_ == no_time ? deadline_ : next_, deadline_);
        }
        return;
    }
    Count& count = kind == Kind::usual || !options_.exact ? answers_ : slow_;
    if (!options_.exact && !answer_came_ && !same(frame, answer_)) {
        if (so_far.size() < answer_.size() &&
            std::equal(so_far.begin(), so_far.end(), answer_.begin())) {
            pieces_ = std::move(so_far);
            return;
        }
        if (so_far == answer_) {
            pieces_ = std::move(so_far);
            frame = pieces_;
        }
    }
    if (!same(frame, answer_)) {
        count.fault(since(now), shown(answer_), shown(frame), "changed");
    } else if (answer_came_) {
        twice_.fault(since(now), shown(answer_), shown(frame), "twice");
        return;
    }
    if (free_ != no_time && !answer_came_)
        latency_.add(now - free_);
    answer_came_ = true;
    // A moment longer, for what ought not to come.
    deadline_ = now + 60 * ms;
    next_ = std::min(next_ == no_time ? deadline_ : next_, deadline_);
}

void KlineVetting::end_exchange(Time now) {
    const Kind kind = plan_[at_].kind;
    ++echo_.all;
    requests_.all += gave_up_ ? 0 : 1;
    if (!request_came_ && gave_up_) {
        // It is known why.
    } else if (!request_came_) {
        const Bytes part = Bytes(heard_).first(heard_size_);
        requests_.fault(since(now), shown(request_), shown(part),
                        part.empty() ? "the request did not come over the line"
                                     : "the request did not come whole");
    } else if (kind == Kind::harmed) {
        ++harmed_.all;
    } else {
        Count& count = kind == Kind::usual || !options_.exact ? answers_ : slow_;
        ++count.all;
        ++twice_.all;
        if (!answer_came_)
            count.fault(since(now), shown(answer_), shown(pieces_),
                        pieces_.empty() ? "lost" : "cut");
    }
    heard_size_ = 0;
    ++at_;
    step_ = Step::ask;
    deadline_ = now + 10 * ms;
}

void KlineVetting::put_at(Time at, Bytes bytes, Time gap) {
    for (const std::uint8_t byte : bytes) {
        if (due_.size() == most_bytes)
            return;
        due_.push_back({at, byte});
        at += byte_time + gap;
    }
    next_ = next_ == no_time ? due_.front().at : std::min(next_, due_.front().at);
}

/// The line goes low for longer than a byte: start bit and ones of address 33, from the lowest bit
/// on, make it low at 0, 0.6 and 1.4 s; or it is the wake-up of the fast initialisation.
void KlineVetting::low(Time now) {
    const Time off = low_ == no_time ? 0 : now - low_;
    const bool second = lows_ == 1 && off > 500 * ms && off < 700 * ms;
    const bool third = lows_ == 2 && off > 1300 * ms && off < 1500 * ms;
    if (second || third) {
        ++lows_;
    } else {
        low_ = now;
        lows_ = 1;
    }
    if (lows_ == 3) {
        lows_ = 0;
        const Time sync = low_ + address_time + w1;
        const std::array<std::uint8_t, 1> pattern{0x55};
        put_at(sync, pattern, 0);
        put_at(sync + byte_time + w2, keys, w3);
    }
}

void KlineVetting::heard(std::uint8_t byte, Time now) {
    const bool exchange = step_ == Step::sending || step_ == Step::waiting;
    const Time most_pause = exchange && !options_.exact ? patience() : p4_max + byte_time + 4 * ms;
    const bool fresh = last_heard_ == no_time || now - last_heard_ > most_pause;
    if (step_ == Step::listen) {
        noise_ = true;
        step_ = Step::over;
        return;
    }
    if (key_end_ != no_time && !awake_ && !key_back_) {
        key_back_ = true;
        w4_ = now - byte_time - key_end_;
        last_heard_ = now;
        if (byte == static_cast<std::uint8_t>(~keys[1])) {
            awake_ = true;
            const std::array<std::uint8_t, 1> ready{inverted_address};
            put_at(now + 30 * ms, ready, 0);
        }
        return;
    }
    if (fresh)
        heard_size_ = 0;
    if (fresh && byte == 0 && !awake_) {
        low(now);
        return;
    }
    const bool judged = exchange && !request_came_ && options_.exact;
    if (heard_size_ == 0 && judged && free_ != no_time) {
        const Time rest = now - byte_time - free_;
        ++rests_.all;
        least_rest_ = rests_.all == 1 ? rest : std::min(least_rest_, rest);
        if (rest < p3_min - options_.slack)
            rests_.fault(since(now), "", "", "only " + render::short_time(std::max<Time>(rest, 0)));
    } else if (heard_size_ != 0 && judged) {
        const Time pause = now - byte_time - last_heard_;
        ++pauses_.all;
        least_pause_ = pauses_.all == 1 ? pause : std::min(least_pause_, pause);
        most_pause_ = std::max(most_pause_, pause);
        if (pause < p4_min - options_.slack || pause > p4_max + options_.slack)
            pauses_.fault(since(now), "", "", render::short_time(std::max<Time>(pause, 0)));
    }
    last_heard_ = now;
    heard_[heard_size_++] = byte;
    const Bytes frame = Bytes(heard_).first(heard_size_);
    const bool over = exchange && same(frame, request_);
    if (over || (kline_length(frame) != 0 && heard_size_ >= kline_length(frame)) ||
        heard_size_ == heard_.size()) {
        answer_to(frame, now);
        heard_size_ = 0;
    }
}

/// A frame came over the line.
void KlineVetting::answer_to(Bytes frame, Time end) {
    KlineFrame parsed;
    const bool fine = parse_kline(frame, parsed).fine();
    if (fine && parsed.data.size() == 1 && parsed.data[0] == 0x81) { // start communication
        awake_ = true;
        const std::array<std::uint8_t, 7> yes{
            0x83,
            0xF1,
            0x10,
            0xC1,
            keys[0],
            keys[1],
            static_cast<std::uint8_t>(0x83 + 0xF1 + 0x10 + 0xC1 + keys[0] + keys[1])};
        put_at(end + p2_usual, yes, 0);
        return;
    }
    if (fine && parsed.data.size() == 2 && parsed.data[0] == 0x01 && parsed.data[1] == 0x00) {
        std::vector<std::uint8_t> alive{0x86, 0xF1, 0x10, 0x41, 0x00, 0, 0, 0, 0};
        alive.push_back(kline_checksum(alive));
        put_at(end + p2_usual, alive, 0);
        return;
    }
    if (step_ != Step::sending && step_ != Step::waiting)
        return;
    if (!same(frame, request_)) {
        requests_.fault(since(end), shown(request_), shown(frame), "changed");
        request_came_ = true; // told already
        return;
    }
    request_came_ = true;
    const Kind kind = plan_[at_].kind;
    put_at(end + (kind == Kind::late ? p2_late : p2_usual), answer_,
           kind == Kind::slow ? p1_slow : Time{0});
    if (step_ == Step::waiting)
        deadline_ = std::max(deadline_, due_.back().at + patience());
}

Report KlineVetting::report() const {
    Report report;
    const auto row = [&](const char* id, const char* title, const char* basis, const Count& count,
                         const std::string& sent, const std::string& good, const std::string& bad,
                         const std::string& why, bool over) {
        Check check;
        check.id = id;
        check.group = "kline";
        check.title = title;
        check.basis = basis;
        check.sent_count = count.all;
        check.wrong_count = count.wrong;
        check.examples = count.examples;
        if (count.all == 0 && count.wrong == 0) {
            check.finding = why;
        } else if (count.wrong == 0 && !over) {
            check.finding = "it was not tried to the end";
        } else {
            check.sent = sent;
            check.verdict = count.wrong == 0 ? Verdict::passed : Verdict::failed;
            check.came = count.wrong == 0 ? good : bad;
            if (count.wrong != 0)
                check.finding = render::with_commas(count.wrong) + " of " +
                                render::with_commas(count.all) + ": " + bad;
        }
        report.checks.push_back(std::move(check));
    };
    const std::string not_carried = "the line carries no wake-up";
    const std::string no_line = "the line was never awake";
    const std::string no_times = "the reference has no times of single bytes";
    const auto waking = [&](KlineWaking which, const char* id, const char* title,
                            const char* basis) {
        const auto i = static_cast<std::size_t>(which);
        row(id, title, basis, waking_counts_[i], "once", "awake", waking_trouble_[i], not_carried,
            true);
    };
    waking(KlineWaking::five_baud, "kline-five-baud", "Initialisation at 5 baud",
           "ISO 9141-2, ISO 14230-4: address 33, W1 to W4");
    waking(KlineWaking::fast, "kline-fast", "Fast initialisation",
           "ISO 14230-4: 25 ms low, 25 ms high, start communication");
    const auto frames = [](const Count& count) {
        return render::with_commas(count.all) + " frames";
    };
    if (noise_) {
        Check check;
        check.id = "line-quiet";
        check.group = "line";
        check.title = "Nobody else speaks on the line";
        check.basis = "common practice";
        check.finding = "Others speak on this line, so nothing was sent. Vet an adapter on a bench "
                        "line of its own, never against a vehicle.";
        report.checks.push_back(check);
    }
    if (stopped_)
        report.broken_off = "It was broken off.";
    if (gone_) {
        Check check;
        check.id = "line-stays";
        check.group = "line";
        check.title = "Both ends stay";
        check.basis = "common practice";
        if (*gone_ == End::tested) {
            check.verdict = Verdict::failed;
            check.sent_count = check.wrong_count = 1;
            check.finding = "The adapter went away, and nobody took it off.";
        } else {
            check.finding = "The reference went away, so the rest could not be tried.";
            report.broken_off = check.finding;
        }
        report.checks.push_back(check);
    }
    row("kline-requests", "Requests go out as given, 1 to 255 data bytes",
        "ISO 14230-2, frame format; from memory", requests_, frames(requests_), "as sent",
        "frames are lost or changed on their way to the ECU", no_line, whole_);
    row("kline-answers", "Answers come in as the ECU gave them, 1 to 255 data bytes",
        "ISO 14230-2, frame format; from memory", answers_, frames(answers_), "as sent",
        "answers are lost or changed", no_line, whole_);
    row("kline-slow", "Slow answers come whole: 18 ms between bytes, 47 ms before the first",
        "ISO 14230-4: P1 up to 20 ms, P2 up to 50 ms", slow_, frames(slow_), "as sent",
        "slow answers are lost or changed", options_.exact ? no_line : no_times, whole_);
    row("kline-checksum", "Frames with a wrong checksum are not handed on as good ones",
        "ISO 9141-2, ISO 14230-2: checksum byte", harmed_, frames(harmed_), "none let through",
        "wrong checksums are let through", no_line, whole_);
    row("kline-twice", "No answer comes twice", "common practice", twice_, frames(twice_),
        "none came twice", "answers come twice", no_line, whole_);
    row("kline-echo", "What the adapter sends does not come back as received",
        "common practice: the K-line is one wire", echo_, frames(echo_), "none came back",
        "its own frames come back", no_line, whole_);
    Count own = own_;
    if (own.all != 0 && mute_ != 0) { // of some frames it hears itself, of others it does not
        own.all += mute_;
        own.wrong += mute_;
    }
    row("kline-own", "The adapter hears what it sends, byte for byte",
        "ISO 9141-2, ISO 14230-2: one wire; from memory", own, frames(own), "all of them heard",
        "what it sends does not come back to it, or not as it was sent",
        mute_ == 0 ? no_line
                   : "this adapter hears nothing of what it sends: whether it notices another that "
                     "speaks at once is not known",
        whole_);
    const Count none;
    row("kline-pauses", "Bytes of a request are 5 to 20 ms apart", "ISO 14230-4, ISO 9141-2: P4",
        options_.exact ? pauses_ : none, render::with_commas(pauses_.all) + " pauses",
        render::short_time(std::max<Time>(least_pause_, 0)) + " to " +
            render::short_time(std::max<Time>(most_pause_, 0)),
        "pauses are outside of P4: " + render::short_time(std::max<Time>(least_pause_, 0)) +
            " to " + render::short_time(std::max<Time>(most_pause_, 0)),
        options_.exact ? no_line : no_times, whole_);
    row("kline-rests", "55 ms and more between an answer and the next request",
        "ISO 14230-4, ISO 9141-2: P3", options_.exact ? rests_ : none,
        render::with_commas(rests_.all) + " requests",
        "at least " + render::short_time(std::max<Time>(least_rest_, 0)),
        "requests come too early, the earliest after " +
            render::short_time(std::max<Time>(least_rest_, 0)),
        options_.exact ? no_line : no_times, whole_);
    if (latency_.total() != 0)
        report.latencies.push_back({"last byte of an answer to its frame", latency_});
    return report;
}

} // namespace telltale::vet

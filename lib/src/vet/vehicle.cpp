// SPDX-License-Identifier: Apache-2.0
#include "telltale/vet/vehicle.hpp"

#include <algorithm>

#include "render.hpp"
#include "telltale/base/hex.hpp"

namespace telltale::vet {

namespace {

using render::with_commas;

std::string times(std::uint64_t count, std::string_view one, std::string_view many) {
    return with_commas(count) + ' ' + std::string(count == 1 ? one : many);
}

std::string hex_of(CanId id) {
    std::string out;
    append_hex(out, std::uint64_t{id.value}, id.extended ? 8 : 3);
    return out;
}

std::string cut_hex(Bytes bytes) {
    constexpr std::size_t most = 24;
    std::string out = to_hex(bytes.first(std::min(most, bytes.size())), ' ');
    return bytes.size() > most ? out + " ..." : out;
}

} // namespace

VehicleVetting::VehicleVetting(const VehicleOptions& options) : options_(options) {
    if (options_.ecus.size() > 8)
        options_.ecus.resize(8);
    if (options_.on_uds) {
        add({0x22, 0xF8, 0x02}, std::nullopt, true); // SAE J1979-2: InfoTypes are F8xx, PIDs F4xx
        for (const CanId ecu : options_.ecus) {
            add({0x22, 0xF4, 0x00}, ecu, false);
            add({0x22, 0xF8, 0x00}, ecu, false);
        }
    } else {
        add({0x09, 0x02}, std::nullopt, true);
        for (const CanId ecu : options_.ecus) {
            add({0x01, 0x00}, ecu, false);
            add({0x09, 0x00}, ecu, false);
        }
    }
}

void VehicleVetting::add(std::initializer_list<std::uint8_t> bytes, std::optional<CanId> to,
                         bool is_vin) {
    Question question;
    question.to = to;
    std::copy(bytes.begin(), bytes.end(), question.bytes.begin());
    question.size = static_cast<std::uint8_t>(bytes.size());
    question.is_vin = is_vin;
    questions_.push_back(std::move(question));
}

/// Every other request is for the VIN, the others are for the bitmaps in turn. Where nobody tells a
/// VIN, one in eight: it may be the line that lost the first answers.
void VehicleVetting::choose() {
    ++turn_;
    open_ = 0;
    const bool no_vin = questions_[0].asked >= 3 && questions_[0].answered == 0;
    const bool bitmap = no_vin ? turn_ % 8 != 0 : turn_ % 2 == 0;
    if (bitmap && questions_.size() > 1)
        open_ = 1 + (no_vin ? turn_ : turn_ / 2) % (questions_.size() - 1);
    // Who never answered this will not.
    if (open_ != 0 && questions_[open_].asked >= 3 && questions_[open_].answered == 0 && !no_vin)
        open_ = 0;
}

bool VehicleVetting::next(Time now, client::Request& request) {
    if (begun_ == no_time)
        begun_ = now;
    if (over_ || waits_)
        return false;
    const Question& vin = questions_[0];
    const std::uint64_t most = options_.most;
    const bool no_vin = vin.asked >= 3 && vin.answered == 0;
    if (now - begun_ >= options_.duration ||
        (most != 0 && (no_vin ? requests_ : vin.answered + vin.different) >= most)) {
        over_ = true;
        return false;
    }
    choose();
    Question& question = questions_[open_];
    ++question.asked;
    ++requests_;
    waits_ = true;
    request.bytes = Bytes(question.bytes).first(question.size);
    // On a K-line a request goes to all, and all answer.
    request.to = client::is_kline(options_.dialect) ? std::nullopt : question.to;
    request.expected = {};
    request.may_repeat = false; // what is not answered is what is looked for
    return true;
}

void VehicleVetting::told(const client::Exchange& exchange, Time now) {
    waits_ = false;
    Question& question = questions_[open_];
    const Time since = now - begun_;
    const std::string asked = cut_hex(Bytes(question.bytes).first(question.size)) +
                              (question.to ? " to " + hex_of(*question.to) : "");
    // The whole answer of one ECU: of the one that is asked, or of the first that has one. On the
    // lines before CAN it comes in several messages.
    std::optional<CanId> ecu = question.to;
    std::vector<std::uint8_t> answer;
    client::Outcome outcome = exchange.outcome;
    for (const client::Reply& reply : exchange.replies) {
        if (ecu && reply.ecu != *ecu)
            continue;
        outcome = reply.outcome;
        if (reply.outcome != client::Outcome::answer)
            continue;
        if (!ecu)
            ecu = reply.ecu;
        if (answer.empty() &&
            !(client::is_kline(options_.dialect) && &reply != &exchange.replies.front()) &&
            reply.repeats == 0 && reply.pending == 0 && reply.begun != no_time &&
            reply.asked != no_time) {
            const Time took = reply.begun - reply.asked;
            latency_.add(took);
            ++timed_;
            // P2max of ISO 15765-4.
            late_ += took > 50 * nanoseconds_a_millisecond ? 1 : 0;
        }
        const std::size_t room = most_bytes - std::min(most_bytes, answer.size());
        const Bytes taken = reply.bytes.first(std::min(room, reply.bytes.size()));
        answer.insert(answer.end(), taken.begin(), taken.end());
    }
    if (answer.empty()) {
        const bool known = question.answered != 0;
        std::string what;
        switch (outcome) {
        case client::Outcome::cut:
            ++cut_;
            return;
        case client::Outcome::refused:
        case client::Outcome::busy:
        case client::Outcome::pending:
            ++question.refused; // heard, whatever it says
            return;
        case client::Outcome::broken:
            what = "an answer that did not come whole";
            break;
        default:
            what = "no answer";
            break;
        }
        if (!known)
            return; // it may not have one
        ++silent_;
        silent_examples_.example({since, asked, "", what});
        return;
    }
    if (question.answered == 0) {
        ++question.answered;
        question.answer = std::move(answer);
        question.to = ecu;
        if (!question.is_vin)
            follow_bitmap(question);
        return;
    }
    if (answer == question.answer) {
        ++question.answered;
        return;
    }
    if (client::is_kline(options_.dialect) && answer.size() != question.answer.size()) {
        // It comes in several messages: one of them is not there, or was not the first time.
        const bool now_whole = answer.size() > question.answer.size();
        silent_ += now_whole ? question.answered : 1;
        silent_examples_.example({since, asked, "", "not all of an answer"});
        if (now_whole) {
            question.answer = std::move(answer);
            question.answered = 1;
        }
        return;
    }
    ++question.different;
    Check& into = question.is_vin ? vin_examples_ : support_examples_;
    into.example({since, "first " + cut_hex(question.answer), cut_hex(answer), "another answer"});
}

/// A bitmap whose last bit is set says that the next one is there (SAE J1979: 20, 40 ... E0).
void VehicleVetting::follow_bitmap(const Question& question) {
    const Bytes answer = question.answer;
    const std::size_t head = question.size;
    if (answer.size() < head + 4 || questions_.size() >= 64 || (answer[head + 3] & 1) == 0)
        return;
    const std::uint8_t last = question.bytes[head - 1];
    if (last >= 0xE0 || question.bytes[0] == 0x09)
        return;
    Question further = question;
    further.bytes[head - 1] = static_cast<std::uint8_t>(last + 0x20);
    further.answer.clear();
    further.asked = further.answered = further.different = further.refused = 0;
    questions_.push_back(std::move(further));
}

double VehicleVetting::part(Time now) const noexcept {
    if (over_)
        return 1;
    if (begun_ == no_time)
        return 0;
    double part = static_cast<double>(now - begun_) / static_cast<double>(options_.duration);
    if (options_.most != 0)
        part = std::max(part, static_cast<double>(questions_[0].answered) /
                                  static_cast<double>(options_.most));
    return std::clamp(part, 0.0, 1.0);
}

Check VehicleVetting::compared(bool is_vin) const {
    Check check;
    std::uint64_t asked = 0;
    std::uint64_t in_vain = 0;
    std::uint64_t answers = 0;
    std::uint64_t questions = 0;
    for (const Question& question : questions_) {
        if (question.is_vin != is_vin)
            continue;
        if (question.answered == 0) {
            in_vain += question.asked;
            continue;
        }
        ++questions;
        asked += question.asked;
        answers += question.answered + question.different;
        check.wrong_count += question.different;
    }
    check.group = "vehicle";
    check.id = is_vin ? "vehicle-vin" : "vehicle-support";
    check.title =
        is_vin ? "The VIN is the same each time" : "Support bitmaps are the same each time";
    check.basis = "common practice: what is asked for does not change";
    check.sent = times(asked, "request", "requests");
    if (!is_vin && questions != 0)
        check.sent += " for " + times(questions, "bitmap", "bitmaps");
    check.sent_count = answers;
    const std::vector<Example>& examples =
        is_vin ? vin_examples_.examples : support_examples_.examples;
    check.examples = examples;
    if (check.wrong_count != 0) {
        check.verdict = Verdict::failed;
        check.came = times(check.wrong_count, "answer differs", "answers differ");
        check.finding = check.came + " from the first: bytes are changed on the way";
    } else if (answers < least) {
        check.came = times(answers, "answer", "answers");
        check.finding = questions != 0 ? "too few answers to judge by; give it more time"
                        : in_vain == 0 ? "it was not tried"
                                       : "no ECU answers " + times(in_vain, "request", "requests") +
                                             (is_vin ? " for the VIN" : " for a bitmap");
    } else {
        check.verdict = Verdict::passed;
        check.came = "the same each time";
    }
    return check;
}

Report VehicleVetting::report(const client::ConversationCounts& counts) const {
    Report report;
    report.checks.push_back(compared(true));
    report.checks.push_back(compared(false));

    std::uint64_t due = 0;
    for (const Question& question : questions_)
        due += question.answered != 0 ? question.asked : 0;
    const auto row = [&](const char* id, const char* title, const char* basis, std::uint64_t judged,
                         std::uint64_t wrong, std::string_view one, std::string_view many,
                         std::string_view good) {
        Check check;
        check.id = id;
        check.group = "vehicle";
        check.title = title;
        check.basis = basis;
        check.sent = times(due, "request", "requests");
        check.sent_count = judged;
        check.wrong_count = wrong;
        if (wrong != 0) {
            check.verdict = Verdict::failed;
            check.came = times(wrong, one, many);
            check.finding = check.came + ": by the adapter, the line or an ECU; another adapter on "
                                         "the same vehicle tells them apart";
        } else if (judged < least) {
            check.finding = "too few answers to judge by; give it more time";
        } else {
            check.verdict = Verdict::passed;
            check.came = good;
        }
        return check;
    };
    Check answered = row("vehicle-answers", "Every request is answered",
                         "common practice: an ECU that answered once answers again", due, silent_,
                         "request is not answered", "requests are not answered", "all answered");
    answered.examples = silent_examples_.examples;
    report.checks.push_back(std::move(answered));
    Check whole =
        row("vehicle-isotp", "Multi-frame answers come whole",
            "ISO 15765-2, sequence numbers and lengths", counts.answers + counts.broken,
            counts.broken, "answer came with frames lost, doubled or out of order",
            "answers came with frames lost, doubled or out of order", "no sequence is broken");
    if (!client::is_can(options_.dialect)) {
        whole.verdict = Verdict::untested;
        whole.came.clear();
        whole.examples.clear();
        whole.sent_count = whole.wrong_count = 0;
        whole.finding = "the line carries no ISO-TP";
    }
    report.checks.push_back(std::move(whole));
    report.checks.push_back(row("vehicle-twice", "No answer comes twice or unasked",
                                "common practice", counts.answers, counts.strays,
                                "answer came twice or unasked", "answers came twice or unasked",
                                "none did"));
    Check soon = row("vehicle-time", "Answers begin within P2 (50 ms)", "ISO 15765-4: P2max 50 ms",
                     timed_, late_, "answer began later", "answers began later", "");
    const bool kline = client::is_kline(options_.dialect);
    if (kline || options_.dialect == client::Dialect::doip) {
        soon.verdict = Verdict::untested;
        soon.finding = kline ? "of a K-line it is known when a frame ends, not when it begins"
                             : "ISO 13400-2 leaves the network's delay open";
        soon.wrong_count = soon.sent_count = 0;
        soon.came.clear();
    } else if (soon.verdict == Verdict::passed) {
        soon.came = "99 % within " + render::short_time(latency_.within(0.99));
    }
    report.checks.push_back(std::move(soon));
    if (latency_.total() != 0)
        report.latencies.push_back({kline ? "request to the end of the first frame that answers it"
                                          : "request to the begin of its answer",
                                    latency_});
    if (cut_ != 0)
        report.notes.push_back("The line went away " + times(cut_, "time", "times") +
                               " while a request was open.");
    report.notes.emplace_back(
        "A computer that is busy with other things is late itself: repeat on a "
        "quiet one before an adapter is blamed.");
    report.notes.emplace_back(
        "Only harmless reads were sent: the VIN and support bitmaps, services "
        "01 and 09 (OBDonUDS: 22). What a vehicle cannot show, known frames on "
        "a bench do: --against.");
    return report;
}

} // namespace telltale::vet

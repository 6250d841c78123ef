// SPDX-License-Identifier: Apache-2.0
#include "telltale/client/clear.hpp"

#include <algorithm>
#include <utility>

#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/base/text.hpp"

namespace telltale::client {

namespace {

std::vector<std::string> texts_of(const vehicle::CodeList& list) {
    std::vector<std::string> out;
    for (const vehicle::Code& code : list.codes)
        out.push_back(code.text());
    return out;
}

bool holds_something(const vehicle::FreezeFrame& frame) {
    return frame.code && (frame.code->dtc.raw != 0 || frame.code->failure_type > 0);
}

std::string_view trimmed(std::string_view text) {
    constexpr std::string_view space = " \t\r\n";
    const auto first = text.find_first_not_of(space);
    if (first == std::string_view::npos)
        return {};
    return text.substr(first, text.find_last_not_of(space) - first + 1);
}

std::string told_by(const Deed& deed) {
    std::string out;
    append_can_id(out, deed.ecu);
    out += ' ';
    out += word(deed.outcome);
    if (deed.outcome == Outcome::refused) {
        out += ' ';
        append_hex(out, deed.code, 2);
    }
    return out;
}

bool contains(const std::vector<std::string>& list, const std::string& text) {
    return std::find(list.begin(), list.end(), text) != list.end();
}

} // namespace

bool Losses::none() const {
    return std::all_of(ecus.begin(), ecus.end(), [](const EcuLosses& ecu) {
        return ecu.stored.empty() && ecu.pending.empty() && ecu.freeze_frames == 0 &&
               ecu.complete.empty() && ecu.tests == 0 && !ecu.lamp;
    });
}

std::string Losses::phrase() const {
    std::string out = "clear ";
    if (!vin.empty()) {
        append_plain(out, vin);
        return out;
    }
    std::size_t codes = 0;
    for (const EcuLosses& ecu : ecus)
        codes += ecu.stored.size() + ecu.pending.size();
    append_integer(out, std::uint64_t{codes});
    return out + (codes == 1 ? " code" : " codes");
}

Losses losses_of(const vehicle::Picture& picture) {
    Losses out;
    out.vin = picture.vin();
    for (const vehicle::Ecu* ecu : picture.ecus()) {
        EcuLosses losses;
        losses.id = ecu->id;
        losses.stored = texts_of(ecu->stored);
        losses.pending = texts_of(ecu->pending);
        losses.permanent = texts_of(ecu->permanent);
        for (const auto& [key, frame] : ecu->freeze_frames)
            if (holds_something(frame)) {
                ++losses.freeze_frames;
                losses.freeze_values += frame.values.size();
            }
        for (const auto& [key, monitor] : ecu->since_clear.monitors)
            (monitor.complete ? losses.complete : losses.incomplete).push_back(monitor.name);
        losses.tests = ecu->tests.size();
        losses.lamp = ecu->mil.value_or(false);
        out.ecus.push_back(std::move(losses));
    }
    return out;
}

std::string Actuation::phrase() const {
    std::string out = "actuate ";
    append_hex(out, test, 2);
    out += " of ";
    append_can_id(out, ecu);
    if (!vin.empty()) {
        out += " on ";
        append_plain(out, vin);
    }
    return out;
}

std::optional<Consent> Consent::to_clear(const Losses& shown, std::string_view typed, Time now) {
    if (trimmed(typed) != shown.phrase())
        return std::nullopt;
    return Consent(shown.phrase(), now);
}

std::optional<Consent> Consent::to_actuate(const Actuation& shown, std::string_view typed,
                                           Time now) {
    if (trimmed(typed) != shown.phrase())
        return std::nullopt;
    return Consent(shown.phrase(), now);
}

Consent::Consent(Consent&& other) noexcept
    : phrase_(std::move(other.phrase_)), given_(other.given_),
      used_(std::exchange(other.used_, true)) {}

Consent& Consent::operator=(Consent&& other) noexcept {
    phrase_ = std::move(other.phrase_);
    given_ = other.given_;
    used_ = std::exchange(other.used_, true);
    return *this;
}

bool Consent::use(std::string_view phrase, Time now) {
    const bool good = !used_ && phrase_ == phrase && now >= given_ && now - given_ <= lifetime;
    used_ = true;
    return good;
}

Clear::Clear(const Losses& losses, Consent consent, DeedLog log, bool on_uds)
    : losses_(losses), consent_(std::move(consent)), log_(std::move(log)), on_uds_(on_uds) {}

bool Clear::next(Time now, Request& request) {
    if (asked_ || over_)
        return false;
    asked_ = true;
    if (!log_ || !consent_.use(losses_.phrase(), now)) {
        over_ = refused_ = true;
        return false;
    }
    for (const EcuLosses& ecu : losses_.ecus)
        if (expected_.size() < Conversation::max_ecus)
            expected_.push_back(ecu.id);
    std::string line = "Clears the vehicle's codes, by the consent \"";
    line += consent_.phrase();
    line += "\".";
    log_(line, now);
    if (on_uds_) // emissions-related group (SAE J1979-2)
        bytes_ = {0x14, 0xFF, 0xFF, 0x33};
    else
        bytes_ = {0x04};
    request.bytes = Bytes(bytes_).first(on_uds_ ? 4 : 1);
    request.expected = expected_;
    request.may_repeat = false;
    return true;
}

void Clear::told(const Exchange& exchange, Time now) {
    over_ = true;
    sent_ = exchange.outcome != Outcome::not_sent && exchange.asked != no_time;
    std::string line = "Cleared:";
    for (const Reply& reply : exchange.replies) {
        deeds_.push_back({reply.ecu, reply.outcome, reply.code});
        line += ' ';
        line += told_by(deeds_.back());
        line += ';';
    }
    if (exchange.replies.empty()) {
        line += ' ';
        line += word(exchange.outcome);
    } else {
        line.pop_back();
    }
    line += '.';
    log_(line, now);
}

bool Clear::cleared_all() const {
    return !deeds_.empty() && std::all_of(deeds_.begin(), deeds_.end(), [](const Deed& deed) {
        return deed.outcome == Outcome::answer;
    });
}

Actuate::Actuate(const Actuation& actuation, Consent consent, DeedLog log)
    : actuation_(actuation), consent_(std::move(consent)), log_(std::move(log)) {
    deed_.ecu = actuation_.ecu;
}

bool Actuate::next(Time now, Request& request) {
    if (asked_ || over_)
        return false;
    asked_ = true;
    if (!log_ || !consent_.use(actuation_.phrase(), now)) {
        over_ = refused_ = true;
        return false;
    }
    std::string line = "Actuates, by the consent \"";
    line += consent_.phrase();
    line += "\": 08 ";
    bytes_ = {0x08, actuation_.test};
    std::copy(actuation_.data.begin(), actuation_.data.end(), bytes_.begin() + 2);
    append_hex(line, Bytes(bytes_).subspan(1), ' ');
    log_(line, now);
    request.bytes = bytes_;
    request.to = actuation_.ecu;
    request.may_repeat = false;
    return true;
}

void Actuate::told(const Exchange& exchange, Time now) {
    over_ = true;
    deed_.outcome = exchange.outcome;
    for (const Reply& reply : exchange.replies)
        deed_ = {reply.ecu, reply.outcome, reply.code};
    log_("Actuation: " + told_by(deed_) + ".", now);
}

std::vector<EcuChanges> changes_of(const vehicle::Picture& before, const vehicle::Picture& after) {
    std::vector<EcuChanges> out;
    const Losses was = losses_of(before);
    const Losses is = losses_of(after);
    for (const EcuLosses& old : was.ecus) {
        EcuChanges changes;
        changes.id = old.id;
        changes.lamp_before = old.lamp;
        const auto now = std::find_if(is.ecus.begin(), is.ecus.end(),
                                      [&](const EcuLosses& ecu) { return ecu.id == old.id; });
        if (now == is.ecus.end()) {
            changes.heard = false;
            out.push_back(std::move(changes));
            continue;
        }
        const auto there = [&](const std::string& code) {
            return contains(now->stored, code) || contains(now->pending, code);
        };
        std::vector<std::string> codes = old.stored;
        for (const std::string& code : old.pending)
            if (!contains(codes, code))
                codes.push_back(code);
        for (const std::string& code : codes)
            (there(code) ? changes.still : changes.gone).push_back(code);
        for (const auto* list : {&now->stored, &now->pending})
            for (const std::string& code : *list)
                if (!contains(codes, code) && !contains(changes.came, code))
                    changes.came.push_back(code);
        changes.permanent = now->permanent;
        changes.freeze_frames = now->freeze_frames;
        for (const std::string& monitor : old.complete)
            changes.reset += contains(now->incomplete, monitor) ? 1U : 0U;
        changes.incomplete = now->incomplete.size();
        changes.lamp_after = now->lamp;
        out.push_back(std::move(changes));
    }
    return out;
}

} // namespace telltale::client

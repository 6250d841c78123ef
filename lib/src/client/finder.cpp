// SPDX-License-Identifier: Apache-2.0
#include "telltale/client/finder.hpp"

#include <algorithm>

#include "telltale/base/number.hpp"

namespace telltale::client {

namespace {

constexpr std::uint8_t supported_pids[] = {0x01, 0x00};
/// Data identifier F810: the protocol that an ECU speaks, as SAE J1979-2 asks for it first.
constexpr std::uint8_t protocol_identification[] = {0x22, 0xF8, 0x10};
constexpr unsigned most_cuts = 8;

} // namespace

std::string describe(const Line& line) {
    std::string out;
    switch (line.dialect) {
    case Dialect::can_11:
        out = "CAN (ISO 15765-4), 11-bit identifiers";
        break;
    case Dialect::can_29:
        out = "CAN (ISO 15765-4), 29-bit identifiers";
        break;
    case Dialect::kline_9141:
        return "K-line, ISO 9141-2";
    case Dialect::kline_14230:
        return "K-line, ISO 14230-4";
    case Dialect::doip:
        return "DoIP (ISO 13400-2)";
    }
    if (line.bit_rate != 0) {
        out += ", ";
        append_integer(out, std::uint64_t{line.bit_rate / 1000});
        out += " kbit/s";
    }
    return out;
}

std::string describe(const Attempt& attempt) {
    std::string out;
    if (is_kline(attempt.line.dialect))
        out =
            attempt.kline_fast ? "K-line, fast initialisation" : "K-line, initialisation at 5 baud";
    else
        out = describe(attempt.line);
    if (attempt.on_uds)
        out += ", OBDonUDS";
    out += ": ";
    switch (attempt.outcome) {
    case Outcome::answer:
    case Outcome::refused:
    case Outcome::busy:
        out += "answered";
        break;
    case Outcome::pending:
        out += "an ECU asked to wait and then said nothing";
        break;
    case Outcome::silence:
        out += "no answer";
        break;
    case Outcome::broken:
        out += "only damaged answers";
        break;
    case Outcome::not_sent:
        out += "the line could not be set up or took no frame";
        break;
    case Outcome::cut:
        out += "the line went away";
        break;
    }
    return out;
}

Finder::Finder(const FinderOptions& options) {
    switch (options.over) {
    case FinderOptions::Over::can: {
        std::vector<std::uint32_t> rates = options.bit_rates;
        if (rates.empty())
            rates.push_back(options.line.bit_rate);
        for (const std::uint32_t rate : rates)
            for (const Dialect dialect : {Dialect::can_11, Dialect::can_29}) {
                Step step;
                step.wish.line = options.line;
                step.wish.line.dialect = dialect;
                step.wish.line.bit_rate = rate;
                steps_.push_back(step);
            }
        break;
    }
    case FinderOptions::Over::kline:
        for (const bool fast : {false, true}) {
            Step step;
            step.wish.line = options.line;
            step.wish.line.dialect = fast ? Dialect::kline_14230 : Dialect::kline_9141;
            step.wish.kline_fast = fast;
            steps_.push_back(step);
        }
        break;
    case FinderOptions::Over::doip: {
        Step step;
        step.wish.line = options.line;
        step.wish.line.dialect = Dialect::doip;
        steps_.push_back(step);
        break;
    }
    }
}

const LineWish* Finder::wish() const {
    return line_up_ || done() ? nullptr : &steps_[step_].wish;
}

void Finder::granted(const LineAnswer& answer, Time /*now*/) {
    if (done())
        return;
    if (!answer.up) {
        attempts_.push_back(
            {steps_[step_].wish.line, steps_[step_].wish.kline_fast, false, Outcome::not_sent});
        next_step(true);
        return;
    }
    line_ = answer.line;
    entity_ = answer.entity;
    line_up_ = true;
    asks_uds_ = false;
}

void Finder::next_step(bool skip_bit_rate) {
    const Line tried = steps_[step_].wish.line;
    line_up_ = false;
    asks_uds_ = false;
    ++step_;
    // A bit rate at which no frame can be sent needs no second try.
    while (skip_bit_rate && is_can(tried.dialect) && step_ < steps_.size() &&
           steps_[step_].wish.line.bit_rate == tried.bit_rate)
        ++step_;
}

bool Finder::next(Time /*now*/, Request& request) {
    if (done() || !line_up_)
        return false;
    if (asks_uds_)
        request.bytes = protocol_identification;
    else
        request.bytes = supported_pids;
    return true;
}

void Finder::told(const Exchange& exchange, Time /*now*/) {
    if (done())
        return;
    if (exchange.outcome == Outcome::cut) {
        if (++cuts_ > most_cuts)
            step_ = steps_.size();
        return; // once more when the line is back
    }
    attempts_.push_back({line_, steps_[step_].wish.kline_fast, asks_uds_, exchange.outcome});
    for (const Reply& reply : exchange.replies)
        if (reply.outcome == Outcome::answer || reply.outcome == Outcome::refused ||
            reply.outcome == Outcome::busy || reply.outcome == Outcome::pending) {
            if (std::find(ecus_.begin(), ecus_.end(), reply.ecu) == ecus_.end())
                ecus_.push_back(reply.ecu);
        }
    if (exchange.outcome == Outcome::answer || (!asks_uds_ && !ecus_.empty())) {
        found_ = true;
        on_uds_ = asks_uds_;
        return;
    }
    ecus_.clear();
    if (exchange.outcome == Outcome::not_sent)
        return next_step(true);
    if (!asks_uds_ && !is_kline(line_.dialect)) {
        asks_uds_ = true;
        return;
    }
    next_step();
}

} // namespace telltale::client

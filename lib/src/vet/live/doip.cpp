// SPDX-License-Identifier: Apache-2.0
#include "doip_impl.hpp"

#include <utility>

namespace telltale::vet {

using namespace through; // NOLINT: its own

DoipVetting::Impl::Impl(const DoipVetOptions& options, Time now)
    : options_(options), chance_(options.seed), begun_(now), wake_(now),
      group_(options.functional != 0 ? options.functional : obd_group), headers_(bad_headers()),
      header_counts_(headers_.size()) {
    ecus_.push_back({options_.target, false, {}});
    for (const std::uint16_t other : options_.others)
        if (ecus_.size() < DoipVetOptions::most_ecus)
            ecus_.push_back({other, false, {}});
    for (auto& byte : pattern_)
        byte = chance_.byte();
}

void DoipVetting::Impl::connected(unsigned number, bool fine, Time now,
                                  const link::TlsOutcome& tls) {
    Line& line = lines_[number];
    if (!line.connecting)
        return;
    line.connecting = false;
    line.open = fine;
    line.failed = !fine;
    line.tls = tls;
    wake_ = now;
}

void DoipVetting::Impl::closed(unsigned number, Time now) {
    Line& line = lines_[number];
    line.ended = line.open;
    line.open = false;
    if (step_ >= Step::known && step_ <= Step::alive_asked && number == 0)
        lost_line_ = true;
    wake_ = now;
}

void DoipVetting::Impl::status(Bytes payload, Time now) {
    // Kind of node, sockets at most, sockets open, and, where it tells, the longest request.
    if (step_ != Step::status || status_came_)
        return;
    status_came_ = true;
    ++status_.all;
    if (payload.size() != 3 && payload.size() != 7)
        status_.fault(since(now), {}, payload, "its status is of no known length");
    else if (payload.size() == 7)
        longest_ = static_cast<std::size_t>(big_endian(payload, 3, 4));
    wake_ = now;
}

void DoipVetting::Impl::gone(Time now) {
    report_.broken_off = "The far end went away, so the rest could not be tried.";
    finish(now);
}

void DoipVetting::Impl::stop(Time now) {
    if (done())
        return;
    report_.broken_off = "It was broken off.";
    finish(now);
}

void DoipVetting::Impl::read(unsigned number, Bytes bytes, Time now) {
    Line& line = lines_[number];
    doip::Packet packet;
    while (line.open && line.parser.next(bytes, packet))
        take(number, packet, now);
    if (line.open && line.parser.broken()) {
        if (step_ == Step::tls_plain) // TLS may say in its own words that this is none
            line.ended = true;
        else
            stream_.fault(since(now), {}, {}, "what it sends is no stream of DoIP messages");
        close_line(number);
    }
}

void DoipVetting::Impl::heard(unsigned ecu, Bytes message, Time now) {
    last_event_ = now;
    const bool to_all = ecu == everybody;
    constexpr std::uint8_t tester_present = 0x3E; // a gateway's own, to keep ECUs awake
    if ((!to_all && ecu >= ecus_.size()) ||
        (to_all && message.size() <= 2 && !message.empty() && message[0] == tester_present))
        return;
    if (message.size() >= std::min<std::size_t>(forbidden_.size(), 5) && !forbidden_.empty() &&
        message.size() <= forbidden_.size() &&
        std::equal(message.begin(), message.end(), forbidden_.begin())) {
        forbidden_came_ = true;
        wake_ = now;
        return;
    }
    if (to_all ? step_ != Step::functional : ecu != 0 || step_ == Step::functional) {
        requests_.withdraw(message);
        wake_ = now;
        return request_counts().whole.fault(since(now), {}, message,
                                            to_all ? "it goes to all ECUs"
                                                   : "it goes to ECU " +
                                                         hex_of(ecus_[ecu].address) + " alone");
    }
    came(requests_, request_counts(), message, now, request_latency_);
}

void DoipVetting::Impl::answered(unsigned ecu, bool fine, Time now) {
    if (ecu >= ecus_.size())
        return;
    ecus_[ecu].answering = false;
    last_event_ = now;
    if (!fine && answers_.withdraw(ecus_[ecu].answer)) // the reference is known to be good
        answer_counts().whole.fault(since(now), ecus_[ecu].answer, {},
                                    "the entity did not take it from the ECU");
    wake_ = now;
}

void DoipVetting::Impl::poll(Time now, DoipVetOutlet& outlet) {
    outlet_ = &outlet;
    for (unsigned i = 0; i < lines; ++i) {
        if (std::exchange(lines_[i].want_close, false))
            outlet.close(i);
        if (!lines_[i].out.empty() && lines_[i].open)
            outlet.write(i, std::exchange(lines_[i].out, {}));
        lines_[i].out.clear();
    }
    if (step_ != Step::over && pace_.due(now))
        outlet.progress(name(), Pace::part(since(now), options_.duration));
    for (int i = 0; i < 8 && wake_ <= now && step_ != Step::over; ++i)
        step(now);
    outlet_ = nullptr;
}

Time DoipVetting::Impl::next_wakeup() const {
    if (step_ == Step::over)
        return never;
    for (const Line& line : lines_)
        if (line.want_close || !line.out.empty())
            return 0;
    return wake_;
}

void DoipVetting::Impl::finish(Time) {
    if (step_ == Step::over)
        return;
    step_reached_ = step_;
    step_ = Step::over;
    write_report();
}

std::string_view DoipVetting::Impl::name() const {
    return step_ >= Step::tls && step_ <= Step::tls_old ? "TLS"
           : step_ <= Step::activate                    ? "routing activation"
           : step_ == Step::known                       ? "known messages"
           : step_ == Step::functional                  ? "functional requests"
           : step_ == Step::bursts                      ? "bursts"
                                                        : "refusals and alive check";
}

void DoipVetting::Impl::connect(unsigned number, DoipConnection how) {
    lines_[number] = {};
    lines_[number].connecting = true;
    outlet_->connect(number, how);
}

void DoipVetting::Impl::close_line(unsigned number) {
    Line& line = lines_[number];
    if (line.open || line.connecting)
        line.want_close = true;
    line.open = line.connecting = false;
    if (outlet_ != nullptr && std::exchange(line.want_close, false))
        outlet_->close(number);
}

void DoipVetting::Impl::write(unsigned number, Bytes bytes) {
    if (lines_[number].open)
        outlet_->write(number, bytes);
}

void DoipVetting::Impl::activate(unsigned number) {
    Message bytes;
    doip::append_activation(bytes, options_.tester, 0);
    write(number, bytes);
}

void DoipVetting::Impl::request(unsigned number, std::uint16_t source, std::uint16_t target,
                                Bytes message, std::uint8_t code, Time now) {
    Message bytes;
    doip::append_message(bytes, {source, target, message});
    due_.push_back({number, Message(message.begin(), message.end()), now, code, target});
    write(number, bytes);
}

Message DoipVetting::Impl::make(std::uint8_t service, std::size_t size) {
    Message out{service};
    const std::uint32_t number = ++number_;
    for (int shift = 24; shift >= 0; shift -= 8)
        out.push_back(static_cast<std::uint8_t>(number >> shift));
    const std::size_t from = chance_.below(static_cast<std::uint32_t>(pattern_.size()));
    while (out.size() < size)
        out.push_back(pattern_[(from + out.size()) % pattern_.size()]);
    out.resize(size);
    return out;
}

void DoipVetting::Impl::answer(unsigned ecu, std::size_t size, Time now) {
    Message message = make(answer_service, size);
    ecus_[ecu].answering = true;
    answers_.expect(message, now);
    ecus_[ecu].answer = std::move(message);
    outlet_->answer(ecu, ecus_[ecu].answer);
}

void DoipVetting::Impl::go_to(Step next, Time now) {
    step_ = next;
    at_ = 0;
    wake_ = now;
}

void DoipVetting::Impl::step(Time now) {
    switch (step_) {
    case Step::status:
        return step_status(now);
    case Step::tls:
        return step_tls(now);
    case Step::tls_plain:
        return step_tls_plain(now);
    case Step::tls_old:
        return step_tls_old(now);
    case Step::before:
        return step_before(now);
    case Step::activate:
        return step_activate(now);
    case Step::known:
        return step_known(now);
    case Step::functional:
        return step_functional(now);
    case Step::target:
        return step_refused(now, 0, options_.tester, no_target, 0x03, target_, Step::group_unknown);
    case Step::group_unknown:
        return step_refused(now, 0, options_.tester, group_ == no_group ? nor_group : no_group,
                            0x03, group_unknown_, no_group_ ? Step::bursts : Step::group_long, 7);
    case Step::group_long:
        return step_refused(now, 0, options_.tester, group_, too_long, group_long_, Step::bursts,
                            many_bytes);
    case Step::bursts:
        return step_bursts(now);
    case Step::alive_asked:
    case Step::alive_silent:
        return step_alive(now);
    case Step::headers:
        return step_headers(now);
    case Step::source:
        return step_source(now);
    case Step::all:
    case Step::over:
        return finish(now);
    }
}

DoipVetting::DoipVetting(const DoipVetOptions& options, Time now)
    : impl_(std::make_unique<Impl>(options, now)) {}
DoipVetting::~DoipVetting() = default;
DoipVetting::DoipVetting(DoipVetting&&) noexcept = default;
DoipVetting& DoipVetting::operator=(DoipVetting&&) noexcept = default;

void DoipVetting::connected(unsigned line, bool fine, Time now, const link::TlsOutcome& tls) {
    impl_->connected(line, fine, now, tls);
}
void DoipVetting::read(unsigned line, Bytes bytes, Time now) {
    impl_->read(line, bytes, now);
}
void DoipVetting::closed(unsigned line, Time now) {
    impl_->closed(line, now);
}
void DoipVetting::status(Bytes payload, Time now) {
    impl_->status(payload, now);
}
void DoipVetting::heard(unsigned ecu, Bytes message, Time now) {
    impl_->heard(ecu, message, now);
}
void DoipVetting::answered(unsigned ecu, bool fine, Time now) {
    impl_->answered(ecu, fine, now);
}
void DoipVetting::gone(Time now) {
    impl_->gone(now);
}
void DoipVetting::poll(Time now, DoipVetOutlet& outlet) {
    impl_->poll(now, outlet);
}
Time DoipVetting::next_wakeup() const noexcept {
    return impl_->next_wakeup();
}
bool DoipVetting::done() const noexcept {
    return impl_->done();
}
void DoipVetting::stop(Time now) {
    impl_->stop(now);
}
const Report& DoipVetting::report() const noexcept {
    return impl_->report();
}

} // namespace telltale::vet

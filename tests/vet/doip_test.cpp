// SPDX-License-Identifier: Apache-2.0
// A DoIP gateway on a virtual clock, sound and with one fault each, vetted against its ECU.
#include <doctest/doctest.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <functional>
#include <map>
#include <string>
#include <utility>
#include <vector>

#include "bench.hpp"
#include "gateway.hpp"
#include "telltale/vet/doip.hpp"
#include "verdicts.hpp"

using namespace telltale;
using namespace telltale::vet;
using vet_test::Gateway;
using vet_test::GatewayFault;
using vet_test::ms;

namespace {

class Network final : public DoipVetOutlet {
  public:
    Network(const vet_test::NamedFault& trial, std::uint64_t seed, Time duration, unsigned rate,
            unsigned ecus = Gateway::ecus)
        : random_(seed), fault_(trial.fault), tls_(trial.tls), gateway_(trial.fault, seed, rate),
          vetting_(wanted(trial, seed, duration, ecus), now_) {
        gateway_.write = [this](unsigned line, const Gateway::Message& bytes) {
            later(2 + line, net(), [this, line, bytes, of = generation_[line]] {
                if (of == generation_[line])
                    vetting_.read(line, bytes, now_);
            });
        };
        gateway_.close = [this](unsigned line) {
            later(2 + line, net(), [this, line, of = generation_[line]] {
                if (of == generation_[line])
                    vetting_.closed(line, now_);
            });
        };
        gateway_.to_ecu = [this](unsigned ecu, const Gateway::Message& bytes) {
            later(4, on_can(bytes.size()),
                  [this, ecu, bytes] { vetting_.heard(ecu, bytes, now_); });
        };
        gateway_.to_all = [this](const Gateway::Message& bytes) {
            later(4, on_can(bytes.size()),
                  [this, bytes] { vetting_.heard(DoipVetting::everybody, bytes, now_); });
        };
    }

    const Report& run() {
        const Time end = now_ + 300 * nanoseconds_a_second;
        while (!vetting_.done() && now_ < end) {
            Time next = std::min({end, vetting_.next_wakeup(), gateway_.next_wakeup()});
            if (!events_.empty())
                next = std::min(next, events_.begin()->first);
            now_ = std::max(now_, next);
            if (!events_.empty() && events_.begin()->first <= now_) {
                const auto what = events_.begin()->second;
                events_.erase(events_.begin());
                what();
            }
            gateway_.poll(now_);
            for (int i = 0; i < 100 && vetting_.next_wakeup() <= now_; ++i)
                vetting_.poll(now_, *this);
        }
        CHECK(vetting_.done());
        taken_ = now_;
        return vetting_.report();
    }
    Time taken() const { return taken_; }

    // DoipVetOutlet

    void connect(unsigned line, DoipConnection how) override {
        ++generation_[line];
        if (fault_ == GatewayFault::absent ||
            (fault_ == GatewayFault::tls_hangs && how == DoipConnection::usual))
            return;
        later(line, net(), [this, line, how] {
            const link::TlsOutcome tls = shaken(how);
            const bool fine = tls.kind == Kind::none || tls.kind == Kind::agreed;
            vetting_.connected(line, fine && gateway_.connected(line, how == DoipConnection::plain),
                               now_, tls);
        });
    }
    void write(unsigned line, Bytes bytes) override {
        later(line, net(), [this, line, kept = Gateway::Message(bytes.begin(), bytes.end())] {
            gateway_.read(line, kept, now_);
        });
    }
    void close(unsigned line) override {
        ++generation_[line];
        later(line, net(), [this, line] { gateway_.closed(line); });
    }
    void ask_status() override {
        if (fault_ == GatewayFault::absent)
            return;
        later(5, net(), [this] { vetting_.status(gateway_.status(), now_); });
    }
    void answer(unsigned ecu, Bytes message) override {
        later(4, on_can(message.size()),
              [this, ecu, kept = Gateway::Message(message.begin(), message.end())] {
                  if (gateway_.takes_from_ecu())
                      gateway_.from_ecu(ecu, kept, now_);
                  vetting_.answered(ecu, gateway_.takes_from_ecu(), now_);
              });
    }

  private:
    using Kind = link::TlsOutcome::Kind;

    static DoipVetOptions wanted(const vet_test::NamedFault& trial, std::uint64_t seed,
                                 Time duration, unsigned ecus) {
        DoipVetOptions options;
        options.target = Gateway::ecu;
        for (unsigned i = 1; i < ecus; ++i)
            options.others.push_back(static_cast<std::uint16_t>(Gateway::ecu + i));
        options.tls = trial.tls;
        options.seed = seed;
        options.duration = duration;
        return options;
    }
    link::TlsOutcome shaken(DoipConnection how) const {
        if (how == DoipConnection::plain || !tls_)
            return {};
        if (how == DoipConnection::old_tls)
            return fault_ == GatewayFault::tls_old
                       ? link::TlsOutcome{Kind::agreed, "TLSv1.1", "", ""}
                       : link::TlsOutcome{Kind::refused, "", "", "an alert"};
        switch (fault_) {
        case GatewayFault::tls_not_spoken:
            return {Kind::not_spoken, "", "", "other words"};
        case GatewayFault::tls_refused:
            return {Kind::refused, "", "", "an alert"};
        case GatewayFault::tls_untrusted:
            return {Kind::untrusted, "", "", "nobody knows it"};
        case GatewayFault::tls_other_host:
            return {Kind::other_host, "", "", ""};
        default:
            return {Kind::agreed, "TLSv1.3", "a cipher", ""};
        }
    }
    Time net() { return random_.between(100'000, ms); }
    Time on_can(std::size_t size) const { return ms + static_cast<Time>(size / 7) * 270'000; }
    /// On each channel things come in the order in which they went.
    void later(std::size_t channel, Time delay, std::function<void()> what) {
        Time& last = last_[channel];
        last = std::max(last + 1, channel == 4 ? std::max(last, now_) + delay : now_ + delay);
        events_.emplace(last, std::move(what));
    }

    Time now_ = 1;
    Time taken_ = 0;
    vet_test::Random random_;
    GatewayFault fault_;
    bool tls_;
    Gateway gateway_;
    DoipVetting vetting_;
    std::array<unsigned, DoipVetting::lines> generation_{};
    std::array<Time, 6> last_{};
    std::multimap<Time, std::function<void()>> events_;
};

} // namespace

// With TELLTALE_SEEDS, so many seeds of a minute each; DEVELOPERS.md has what 100 gave.
TEST_CASE("campaign: faulty DoIP gateways are found and named, and a sound one passes") {
    const vet_test::Seeds seeds = vet_test::seeds();
    const Time duration = (seeds.asked ? 60 : 20) * nanoseconds_a_second;
    const unsigned rate = seeds.asked ? 500 : 50;
    vet_test::Tally::head("DoIP gateway");
    for (const auto& trial : vet_test::gateway_faults()) {
        vet_test::Tally tally(trial.name, trial.check, trial.finding);
        for (std::uint64_t seed = 1; seed <= seeds.count; ++seed) {
            Network network(trial, seed, duration, rate);
            const Report& report = network.run();
            CHECK(network.taken() < duration + 30 * nanoseconds_a_second);
            tally.add(report, seed);
            if (seed == 1 && tally.sound())
                for (const Check& check : report.checks)
                    if (check.id == "doip-load")
                        std::printf("  %s\n", check.sent.c_str());
        }
        tally.end();
    }
}

TEST_CASE("a fault of functional requests or of TLS fails its own row and no other") {
    for (const auto& trial : vet_test::gateway_faults()) {
        const std::string name = trial.name;
        if (!trial.tls && name.find("group") == std::string::npos)
            continue;
        CAPTURE(name);
        Network network(trial, 5, 20 * nanoseconds_a_second, 50);
        std::string failed;
        for (const std::string& row : vet_test::with(network.run(), Verdict::failed))
            failed += row;
        CHECK(failed == trial.check);
    }
}

TEST_CASE("an entity that nobody said to know functional requests need not know them") {
    const vet_test::NamedFault trial{GatewayFault::group_unknown, "", "", ""};
    Network network(trial, 1, 20 * nanoseconds_a_second, 50, 1);
    const Report& report = network.run();
    CHECK(report.verdict() == Verdict::passed);
    CHECK(vet_test::with(report, Verdict::untested) ==
          vet_test::Rows{"doip-functional", "doip-functional-acknowledge",
                         "doip-functional-answers", "doip-functional-twice",
                         "doip-functional-sources", "doip-functional-long"});
}

TEST_CASE("of an entity that is not there nothing is found out, over TLS neither") {
    for (const bool tls : {false, true}) {
        CAPTURE(tls);
        Network network({GatewayFault::absent, "", "", "", tls}, 1, 20 * nanoseconds_a_second, 50);
        const Report& report = network.run();
        CHECK(report.verdict() == Verdict::untested);
        CHECK(report.count(Verdict::untested) == report.checks.size());
        CHECK(report.checks.front().finding.find(tls ? "no connection" : "no answer") !=
              std::string::npos);
    }
}

// SPDX-License-Identifier: Apache-2.0
#include "telltale/mimic/vehicle.hpp"

#include <algorithm>
#include <deque>

#include "diagnosis.hpp"
#include "encode.hpp"
#include "make.hpp"
#include "telltale/frame/kline.hpp"
#include "telltale/isotp/endpoint.hpp"

namespace telltale::mimic {

namespace {

constexpr std::uint8_t busy_repeat = 0x21;
constexpr std::uint8_t pending = 0x78;
constexpr std::uint8_t tester = 0xF1;
constexpr CanId functional_11{0x7DF, false};
constexpr CanId functional_29{0x18DB33F1, true};
/// Response-pending comes again before the tester's patience (P2* of five seconds) is at its end.
constexpr Time pending_again = 2 * nanoseconds_a_second;
constexpr Time longest_delay = 60 * nanoseconds_a_second; // that a habit can bring about
constexpr Time day = 86'400 * nanoseconds_a_second;
constexpr std::size_t most_work = 4;      // requests that an ECU keeps while it is busy
constexpr std::size_t most_request = 512; // bytes; a longer one is nothing that an ECU here knows

/// Addresses of ISO 15765-4 (29 bit) and the lines before CAN; 10 and 18 are the usual ones.
constexpr std::array<std::uint8_t, 8> addresses = {0x10, 0x18, 0x19, 0x1A, 0x28, 0x29, 0x40, 0x41};

Signals standing(const DriveSettings& settings) {
    Signals s;
    s.running = false;
    s.ambient = settings.ambient;
    s.barometric = settings.barometric;
    s.map = s.map_true = settings.barometric;
    s.coolant = settings.coolant_start;
    s.oil = settings.coolant_start;
    s.intake = settings.ambient + 3;
    s.catalyst = settings.ambient;
    s.exhaust = settings.ambient;
    s.throttle = 12;
    s.lambda = 1.99;
    s.voltage = 12.4;
    s.fuel_level = settings.fuel_level;
    s.long_trim = settings.long_trim;
    s.soot = 20;
    s.gear_ratio = settings.car.ratio[1];
    return s;
}

bool asks_verification(Bytes request) {
    return (request.size() == 2 && request[0] == 0x09 && request[1] == 0x06) ||
           (request.size() == 3 && request[0] == 0x22 && request[1] == 0xF8 && request[2] == 0x06);
}

} // namespace

class Vehicle::Impl {
  public:
    explicit Impl(const Options& options)
        : options_(options), made_(make(options)), drive_(made_.drive), diagnosis_(options.seed),
          random_(options.seed ^ 0x7E11A), off_(standing(made_.drive)) {
        for (std::size_t i = 0; i < made_.ecus.size(); ++i) {
            const Habits& habits =
                i < options.habits_by_ecu.size() ? options.habits_by_ecu[i] : options.habits;
            stations_.emplace_back(*this, i, habits);
        }
        diagnosis_.start(stations_[0].ecu, drive_, true);
        simulate();
    }

    /// Brings drive and diagnosis up to `now`.
    void advance(Time now) {
        if (now == no_time)
            return;
        // Nothing here is due later than a day after the present: so far from the ends of time that
        // no sum runs over.
        now = std::clamp(now, no_time + day, isotp::never - day);
        if (start_ == no_time) {
            start_ = now;
            latest_ = now;
            return;
        }
        if (now <= latest_)
            return;
        // Unsigned: two hostile times may lie further apart than a Time can tell.
        const auto gone = static_cast<std::uint64_t>(now) - static_cast<std::uint64_t>(latest_);
        latest_ = now;
        lived_ += std::min(gone, static_cast<std::uint64_t>(most_advance));
        simulate();
    }

    void feed(const CanFrame& frame, Time now) {
        advance(now);
        for (auto& station : stations_)
            if (!silent(station))
                station.endpoint.feed(frame, latest_, station.in);
    }

    void poll(Time now, SendFrame send) {
        advance(now);
        if (start_ == no_time)
            return;
        for (auto& station : stations_) {
            // Each turn does something that was due; a frame has at most 4095 bytes' worth of them.
            for (unsigned turns = 0; station.wakeup() <= latest_ && turns < 4096; ++turns) {
                if (station.endpoint.next_wakeup() <= latest_) {
                    Out out(station, silent(station) ? nullptr : &send);
                    station.endpoint.poll(latest_, out);
                } else {
                    work(station);
                }
            }
        }
    }

    Time next_wakeup() const noexcept {
        Time next = isotp::never;
        for (const auto& station : stations_)
            next = std::min(next, station.wakeup());
        return next;
    }

    void ask(Bytes request, std::optional<unsigned> ecu, Time now, Tell tell) {
        advance(now);
        struct Said {
            Time after;
            std::size_t station;
            Message message;
        };
        std::vector<Said> all;
        for (auto& station : stations_) {
            if ((ecu && *ecu != station.index) || silent(station) || request.empty() ||
                request.size() > most_request)
                continue;
            Time after = delay(station);
            Turn turn = turn_of(station, request);
            if (turn.busy) {
                all.push_back({after, station.index, {negative_response, request[0], busy_repeat}});
                continue;
            }
            for (; turn.pending_for > 0;
                 turn.pending_for -= std::min(turn.pending_for, pending_again)) {
                all.push_back({after, station.index, {negative_response, request[0], pending}});
                after += std::min(turn.pending_for, pending_again);
            }
            if (Message answer = reply(station, request, !ecu); !answer.empty())
                all.push_back({after, station.index, std::move(answer)});
        }
        std::stable_sort(all.begin(), all.end(),
                         [](const Said& a, const Said& b) { return a.after < b.after; });
        for (const auto& said : all) {
            const Station& s = stations_[said.station];
            tell({static_cast<std::uint8_t>(said.station), s.response, s.address, said.message,
                  said.after});
        }
    }

    void ask_kline(Bytes frame, Time now, Tell tell);

    void next_trip() {
        if (options_.engine_off)
            return;
        diagnosis_.finish(stations_[0].ecu);
        stations_[0].ecu.state.odometer += drive_.truth().distance / 1000;
        DriveSettings settings = drive_.settings();
        ++settings.seed;
        settings.coolant_start = settings.ambient + 2;
        settings.long_trim = drive_.truth().long_trim;
        settings.fuel_level = drive_.truth().fuel_level;
        drive_ = Drive(settings);
        diagnosis_.start(stations_[0].ecu, drive_, false);
        trip_ = lived_;
        tenths_ = 1;
        simulate();
    }

    const Signals& signals() const { return options_.engine_off ? off_ : drive_.signals(); }
    const Signals& truth() const { return options_.engine_off ? off_ : drive_.truth(); }

    struct Work {
        Time due = 0;
        bool functional = false;
        bool heard = false;   // busy and pending are decided
        Time pending_for = 0; // still
        Message request;
    };

    struct Station;

    /// Takes what an endpoint gives.
    class Out final : public isotp::Outlet {
      public:
        Out(Station& station, SendFrame* send) : station_(station), send_(send) {}
        void frame(const CanFrame& frame, isotp::Ticket) override {
            if (send_ != nullptr)
                (*send_)(frame);
        }
        void message(const isotp::Message& message) override {
            station_.owner->hear(station_, message);
        }

      private:
        Station& station_;
        SendFrame* send_;
    };

    struct Station {
        Station(Impl& impl, std::size_t place, const Habits& how)
            : owner(&impl), index(place), habits(how), ecu(impl.made_.ecus[place]),
              address(addresses[place]), response(impl.response_id(place)),
              endpoint(impl.address_of(place), impl.isotp_options()), in(*this, nullptr) {}

        Time wakeup() const noexcept {
            // A second answer waits until the first is on its way.
            const Time due = work.empty() || endpoint.sending() ? isotp::never : work.front().due;
            return std::min(endpoint.next_wakeup(), due);
        }

        Impl* owner;
        std::size_t index;
        Habits habits;
        Ecu ecu;
        std::uint8_t address;
        CanId response;
        isotp::Endpoint endpoint;
        Out in;
        std::vector<Work> work;
        unsigned requests = 0;
    };

    const Options& options() const { return options_; }
    const std::deque<Station>& stations() const { return stations_; }
    const Drive& drive() const { return drive_; }

  private:
    static constexpr std::uint64_t tenth = nanoseconds_a_second / 10;
    /// The engine has run for so long when somebody looks for the first time.
    static constexpr std::uint64_t started = 3 * nanoseconds_a_second;

    /// Drive and diagnosis, as far as the vehicle has lived. The diagnosis has a grid of its own,
    /// so that it does not matter how often somebody looks.
    void simulate() {
        if (options_.engine_off)
            return;
        const std::uint64_t now = lived_ - trip_ + started;
        for (; tenths_ * tenth <= now; ++tenths_) {
            drive_.run_to(static_cast<double>(tenths_) / 10);
            diagnosis_.step(stations_[0].ecu, drive_);
        }
        drive_.run_to(static_cast<double>(now) / 1e9);
    }

    CanId response_id(std::size_t place) const {
        return options_.extended_ids ? CanId{0x18DAF100U | addresses[place], true}
                                     : CanId{static_cast<std::uint32_t>(0x7E8 + place), false};
    }
    isotp::Address address_of(std::size_t place) const {
        return isotp::tester_address(response_id(place)).reversed();
    }
    isotp::Options isotp_options() const {
        isotp::Options o;
        o.padding = options_.padding;
        o.block_size = options_.block_size;
        o.st_min = options_.st_min;
        o.least_gap = std::clamp<Time>(options_.frame_gap, 0, longest_delay);
        o.functional_rx = options_.extended_ids ? functional_29 : functional_11;
        return o;
    }

    /// Whether the ECU is in one of its silences.
    bool silent(const Station& station) const {
        const Habits& h = station.habits;
        if (h.silent_every <= 0 || h.silent_for <= 0)
            return false;
        const auto every = static_cast<std::uint64_t>(h.silent_every);
        const auto length = std::min(static_cast<std::uint64_t>(h.silent_for), every);
        return lived_ % every >= every - length;
    }

    Time delay(Station& station) {
        const Habits& h = station.habits;
        const Time spread = std::clamp<Time>(h.spread, 0, longest_delay);
        return std::clamp<Time>(h.delay, 0, longest_delay) +
               static_cast<Time>(static_cast<double>(spread) * random_.uniform());
    }

    struct Turn {
        bool busy = false;
        Time pending_for = 0;
    };
    /// What the ECU's habits make of its next request.
    Turn turn_of(Station& station, Bytes request) {
        const Habits& h = station.habits;
        const unsigned number = ++station.requests;
        Turn turn;
        if (h.busy_every != 0 && number % h.busy_every == 0) {
            turn.busy = true;
            return turn;
        }
        if (h.pending_every != 0 && number % h.pending_every == 0)
            turn.pending_for = h.pending_for;
        if (asks_verification(request))
            turn.pending_for = std::max(turn.pending_for, options_.verification_time);
        turn.pending_for = std::clamp<Time>(turn.pending_for, 0, 60 * nanoseconds_a_second);
        return turn;
    }

    /// The answer on CAN, by the ECU and its habits.
    Message reply(Station& station, Bytes request, bool functional) {
        const unsigned most = std::clamp(station.habits.most_pids, 1U, Ecu::most_ids);
        if (request[0] == 0x01 && request.size() > 1U + most && !options_.obd_on_uds) {
            switch (station.habits.refusal) {
            case Refusal::silence:
                return {};
            case Refusal::negative:
                return {negative_response, 0x01, 0x12};
            case Refusal::first_only:
                request = request.first(1U + most);
                break;
            }
        }
        return station.ecu.answer(request, functional, signals());
    }

    void hear(Station& station, const isotp::Message& message) {
        if (message.bytes.empty() || message.bytes.size() > most_request ||
            station.work.size() >= most_work)
            return;
        Work w;
        w.due = latest_ + delay(station);
        w.functional = is_functional(message.id);
        w.request.assign(message.bytes.begin(), message.bytes.end());
        station.work.push_back(std::move(w));
    }

    /// Does the first thing on the ECU's list, which is due.
    void work(Station& station) {
        Work& w = station.work.front();
        const auto say = [&](const Message& message) {
            if (!message.empty())
                (void)station.endpoint.transmit(message, latest_); // not busy, not too long
        };
        if (!w.heard) {
            w.heard = true;
            const Turn turn = turn_of(station, w.request);
            if (turn.busy) {
                say({negative_response, w.request[0], busy_repeat});
                station.work.erase(station.work.begin());
                return;
            }
            w.pending_for = turn.pending_for;
        }
        if (w.pending_for > 0) {
            say({negative_response, w.request[0], pending});
            const Time wait = std::min(w.pending_for, pending_again);
            w.pending_for -= wait;
            w.due = latest_ + wait;
            return;
        }
        say(reply(station, w.request, w.functional));
        station.work.erase(station.work.begin());
    }

    Options options_;
    Made made_;
    Drive drive_;
    Diagnosis diagnosis_;
    Random random_;
    Signals off_;
    std::deque<Station> stations_; // stays in place: endpoints point to it
    Time start_ = no_time;
    Time latest_ = no_time;
    std::uint64_t lived_ = 0; // ns of its life that were simulated
    std::uint64_t trip_ = 0;  // of them, before this driving cycle
    std::uint64_t tenths_ = 1;
};

void Vehicle::Impl::ask_kline(Bytes frame, Time now, Tell tell) {
    advance(now);
    KlineFrame heard;
    if (!parse_kline(frame, heard).fine() || !heard.has_address || heard.source != tester ||
        heard.data.empty())
        return;
    const bool old = heard.form == KlineForm::iso_9141;
    const bool to_all = old ? heard.target == 0x6A : heard.form == KlineForm::functional;
    Time after = 0;
    Time over = 0; // when the last frame is off the line
    for (auto& station : stations_) {
        if (silent(station) || (old && !to_all) || (!to_all && heard.target != station.address))
            continue;
        if (to_all && !old && heard.target != 0x33)
            continue;
        const auto say = [&](const Message& data) {
            Message out;
            if (old)
                out = {0x48, 0x6B, station.address};
            else
                out = {static_cast<std::uint8_t>(0x80 | data.size()), tester, station.address};
            out.insert(out.end(), data.begin(), data.end());
            out.push_back(kline_checksum(out));
            tell({static_cast<std::uint8_t>(station.index), station.response, station.address, out,
                  after});
            over = after + static_cast<Time>(out.size()) * KlineCutter::byte_time;
        };
        // P2 of ISO 9141-2 and ISO 14230-4: 25 to 50 ms from the end of a message to the next.
        const auto pause = [&] { after = over + 25 * nanoseconds_a_millisecond + delay(station); };
        pause();
        if (!old) {
            const std::uint8_t service = heard.data[0];
            if (service == 0x81 || service == 0x82 || service == 0x3E) {
                if (to_all && station.index != 0)
                    continue; // one answers for all
                if (service == 0x81)
                    say({0xC1, key_bytes(true)[0], key_bytes(true)[1]});
                else
                    say({static_cast<std::uint8_t>(service + 0x40)});
                continue;
            }
        }
        Turn turn = turn_of(station, heard.data);
        if (turn.busy && !old) {
            say({negative_response, heard.data[0], busy_repeat});
            continue;
        }
        // ISO 9141-2 has no negative responses.
        for (; !old && turn.pending_for > 0;
             turn.pending_for -= std::min(turn.pending_for, pending_again)) {
            say({negative_response, heard.data[0], pending});
            after += std::min(turn.pending_for, pending_again);
        }
        bool first = true;
        for (const auto& message : station.ecu.answer_old(heard.data, signals())) {
            if (!first)
                pause();
            first = false;
            say(message);
        }
    }
}

Vehicle::Vehicle(const Options& options) : impl_(std::make_unique<Impl>(options)) {}
Vehicle::Vehicle(Vehicle&&) noexcept = default;
Vehicle& Vehicle::operator=(Vehicle&&) noexcept = default;
Vehicle::~Vehicle() = default;

void Vehicle::feed(const CanFrame& frame, Time now) {
    impl_->feed(frame, now);
}
void Vehicle::poll(Time now, SendFrame send) {
    impl_->poll(now, send);
}
Time Vehicle::next_wakeup() const noexcept {
    return impl_->next_wakeup();
}
void Vehicle::ask(Bytes request, std::optional<unsigned> ecu, Time now, Tell tell) {
    impl_->ask(request, ecu, now, tell);
}
void Vehicle::ask_kline(Bytes frame, Time now, Tell tell) {
    impl_->ask_kline(frame, now, tell);
}
void Vehicle::next_trip() {
    impl_->next_trip();
}
std::size_t Vehicle::ecus() const noexcept {
    return impl_->stations().size();
}
const EcuState& Vehicle::state(std::size_t ecu) const noexcept {
    return impl_->stations()[ecu].ecu.state;
}
CanId Vehicle::response_id(std::size_t ecu) const noexcept {
    return impl_->stations()[ecu].response;
}
CanId Vehicle::request_id(std::size_t ecu) const noexcept {
    return partner_of(response_id(ecu));
}
std::uint8_t Vehicle::address(std::size_t ecu) const noexcept {
    return impl_->stations()[ecu].address;
}
const Signals& Vehicle::signals() const noexcept {
    return impl_->signals();
}
const Signals& Vehicle::truth() const noexcept {
    return impl_->truth();
}
const DriveSettings& Vehicle::settings() const noexcept {
    return impl_->drive().settings();
}

} // namespace telltale::mimic

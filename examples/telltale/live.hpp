// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "telltale/client/finder.hpp"
#include "telltale/client/reader.hpp"
#include "telltale/vehicle/picture.hpp"

namespace telltale::program {

/// True when the text names a link to a vehicle (can:, slcan:, kline:, doip:) and no such file is
/// there.
bool is_link_name(std::string_view text);

/// "7E8", "18DAF110".
std::string id_text(CanId id);

/// A vehicle at the other end of a link. What the user needs to know goes to standard error.
class LiveVehicle {
  public:
    /// `save`: everything that goes over the line is written there as a dump; empty: nowhere.
    LiveVehicle(std::string name, std::string save);
    ~LiveVehicle();
    LiveVehicle(const LiveVehicle&) = delete;
    LiveVehicle& operator=(const LiveVehicle&) = delete;

    /// From now on what goes over the line is drawn into the picture, until `read` is over.
    /// `extension`: parameters beside the standard's, may be null; outlives the reading.
    void paint(vehicle::Picture& picture, const catalogue::Extension* extension = nullptr);
    /// Opens the link and finds the vehicle. False: it could not, and standard error says why.
    bool find();
    /// Asks it for everything that a report shows, into the picture that is painted. False: the
    /// line went away, or the user did not want to wait.
    bool read();
    /// Runs any task to its end.
    bool run(client::Task& task);
    /// Keeps the line alive while `ready` is false, up to an interruption by the user.
    bool wait_until(bool (*ready)());

    /// A remark into the dump, with the next frame.
    void remark(std::string_view text);
    /// Writes out the dump. False: it could not be written.
    bool finish_save();

    const client::Line& line() const;
    bool on_uds() const;
    /// Those that answered when the vehicle was found.
    const std::vector<CanId>& ecus() const;
    const client::ConversationCounts& counts() const;
    /// Pieces on the line so far.
    std::uint64_t pieces() const;
    const std::string& name() const;

  private:
    class Impl;
    std::unique_ptr<Impl> impl_;
};

} // namespace telltale::program

// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "output.hpp"
#include "telltale/base/result.hpp"
#include "telltale/catalogue/extension.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/message/stream.hpp"
#include "telltale/vehicle/picture.hpp"

namespace CLI {
class App;
}

namespace telltale::program {

/// What a user says about the dumps to read, as every command that reads dumps takes it.
struct InputOptions {
    std::vector<std::string> files; ///< none: standard input
    std::vector<std::string> ids;   ///< more diagnostic identifiers
    std::string addressing;
    std::string format;
    std::vector<std::string> with; ///< files of parameters beside the standard's
};
/// Adds FILE…, --ids, --addressing, --format and --with to a command. `options` must outlive the
/// parsing.
void add_input_options(CLI::App& command, InputOptions& options);
/// The same without FILE…, for a command that names its files itself.
void add_dump_options(CLI::App& command, InputOptions& options);

/// The options, read.
struct InputSettings {
    std::vector<std::string> files;
    message::StreamOptions stream{};
    dump::Format format = dump::Format::unknown;
    /// What --with names; never null. `stream` has it too.
    std::shared_ptr<const catalogue::Extension> extension;
};
/// Errors: `bad_argument` with a sentence for the user.
Result<InputSettings> read_input_options(const InputOptions& options);

/// Adds identifiers written as `6F1`, `700-70F`, `18DB33F1` or `18DAxxF1` (x: any digit) to a
/// filter. Errors: `bad_argument`.
Result<int> add_identifiers(CanFilter& filter, std::string_view text);

/// Watches the reading of one dump.
class DumpWatcher {
  public:
    virtual ~DumpWatcher() = default;
    /// Before the first record. The reader lives until `closed` returns.
    virtual void opened(const dump::Reader& /*reader*/) {}
    /// A comment of the dump.
    virtual void comment(std::string_view /*text*/, Time /*time*/) {}
    /// False: read no further.
    virtual bool goes_on() { return true; }
    /// After the last record.
    virtual void closed() {}
};

/// Ends a picture when its dump is over.
class PictureWatcher : public DumpWatcher {
  public:
    explicit PictureWatcher(vehicle::Picture& picture) : picture_(picture) {}
    void opened(const dump::Reader& reader) override { reader_ = &reader; }
    void closed() override;

  protected:
    const dump::Reader& reader() const { return *reader_; }

  private:
    vehicle::Picture& picture_;
    const dump::Reader* reader_ = nullptr;
};

/// Reads one dump to its end. What the user needs to know of it goes to standard error, by way of
/// `output`. Returns false when it could not be read at all. `output` is written out before waiting
/// for more input, so that a live dump shows at once. With `no_dump`, a file whose content is no
/// dump is no fault: it is only said there.
bool read_dump(const std::string& file, const InputSettings& settings, Output& output,
               message::Listener& listener, DumpWatcher& watcher, bool* no_dump = nullptr);

} // namespace telltale::program

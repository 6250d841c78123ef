// SPDX-License-Identifier: Apache-2.0
// Runs a fuzz target over files: each argument is a file or a folder of files. Fails when it was
// given nothing to run, so that a lost seed folder cannot pass for a test.
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string_view>
#include <vector>

#ifdef TELLTALE_REPLAY_ALL
// Many targets in one program: the first argument names one.
#define TELLTALE_REPLAY(name) extern "C" int replay_##name(const std::uint8_t*, std::size_t);
#include "replay_targets.inc"
#undef TELLTALE_REPLAY
#else
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);
#endif

namespace {
using Target = int (*)(const std::uint8_t*, std::size_t);

#ifdef TELLTALE_REPLAY_ALL
Target find(std::string_view wanted) {
#define TELLTALE_REPLAY(name)                                                                      \
    if (wanted == #name)                                                                           \
        return replay_##name;
#include "replay_targets.inc"
#undef TELLTALE_REPLAY
    return nullptr;
}
#endif

std::size_t run(Target target, const std::filesystem::path& path) {
    std::ifstream in(path, std::ios::binary);
    const std::vector<char> bytes{std::istreambuf_iterator<char>(in), {}};
    target(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size());
    return 1;
}
} // namespace

int main(int argc, char** argv) {
    std::size_t count = 0;
    int i = 1;
#ifdef TELLTALE_REPLAY_ALL
    const Target target = argc > 1 ? find(argv[i++]) : nullptr;
    if (target == nullptr) {
        std::fprintf(stderr, "no such fuzz target\n");
        return 2;
    }
#else
    const Target target = LLVMFuzzerTestOneInput;
#endif
    for (; i < argc; ++i) {
        if (std::filesystem::is_directory(argv[i])) {
            for (const auto& entry : std::filesystem::recursive_directory_iterator(argv[i]))
                if (entry.is_regular_file())
                    count += run(target, entry.path());
        } else {
            count += run(target, argv[i]);
        }
    }
    std::printf("%zu inputs replayed\n", count);
    return count == 0 ? 1 : 0;
}
